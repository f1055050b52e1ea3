// A cable in a simulated chain: lossy, with mismatches along it, seen at its far or its near end.
#pragma once

#include "firstedge/core/settings.hpp"

#include <complex>
#include <vector>

namespace firstedge {

/// A place where the impedance changes. reflection is (Z after - Z before)/(Z after + Z before) of the
/// voltage of a wave that comes from the near end; position is a share of the line's delay.
struct MismatchPlan {
  double position = 0.5;
  double reflection = 0.01;
};

/// A line behind the sensor and its band, driven by a source that matches it. The losses are spread evenly
/// along it.
struct LinePlan {
  enum class End { matched, open, shorted };
  enum class Seen {
    far_end,  ///< what a digitizer at the far end records
    near_end  ///< what a tee without reflections of its own records at the near end: pulse and echoes
  };
  double delay_s = 0;  ///< bulk delay, one way
  double skin_s = 0;   ///< K^2 of the whole line, see SkinLine
  End end = End::matched;
  Seen seen = Seen::far_end;
  std::vector<MismatchPlan> mismatches;  ///< in rising order of position
};

/// The voltage where the line is seen over that of the wave put into it, at an angular frequency. All echoes
/// between mismatches and the end are in it (the recursion of multiple reflections in layers, J. A. Stratton,
/// Electromagnetic Theory (1941), 9.11; section from memory; here derived from the waves at a junction).
/// Far end: of the voltage at the end, which is doubled by an open end.
std::complex<double> line_response(const LinePlan& line, double angular_frequency);

/// After so long everything that comes of a short pulse, but for the tail of the loss, is below 1e-6 of it.
double line_lasts_s(const LinePlan& line);

/// Setup group "line": {"delay": "50 ns", "skin": "0.1 ns", "end": "matched" | "open" | "shorted", "seen_at":
/// "far_end" | "near_end", "mismatches": [{"position": 0.4, "reflection": 0.02}]}. Throws Error for losses or
/// delays below 0, positions outside 0 to 1 or not rising, reflections of 0.9 and more, a shorted line seen
/// at its far end, and for more than 100 mismatches.
LinePlan line_plan(const Settings& settings);

}  // namespace firstedge
