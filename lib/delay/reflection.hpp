// Reflection: the delay of a cable, and what is wrong along it, from one channel at its near end.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/result.hpp"
#include "firstedge/delay/echo_fit.hpp"
#include "firstedge/delay/pair_average.hpp"

#include <cstdint>
#include <optional>
#include <vector>

namespace firstedge {

struct ReflectionOptions {
  enum class End { open, shorted, matched };
  End end = End::open;
  /// Where the pulse that goes in is over and echoes may start, seconds from the trigger; nothing: where the
  /// first pulse has come back to the baseline, and a quarter of its length more.
  std::optional<double> cut_s;
  double impedance_ohm = 50;      ///< of the cable at its near end
  double least_significance = 6;  ///< of a mismatch, in standard uncertainties of its size
  std::size_t most_mismatches = 20;
};

/// One echo. The time is one way: half of the round trip. size: reflected over arriving voltage, the loss on
/// the way taken out; positive where the impedance rises.
struct Mismatch {
  Estimate delay_s;
  Estimate reflection;      ///< as it came back, the loss alone taken out
  Estimate peeled;          ///< what the mismatches before let through taken out as well
  bool behind_end = false;  ///< later than the end: a wave that went to and fro more than once
};

/// Impedance from one mismatch to the next.
struct ImpedanceSection {
  double from_s = 0, to_s = 0;  ///< one-way times; the last ends at the far end
  Estimate impedance_ohm;
};

struct ReflectionDelay {
  MeanTrace mean;
  double cut_s = 0;
  EchoFit fit;
  std::optional<Estimate> delay_s;        ///< one way, to the open or shorted end
  std::optional<Estimate> loss_constant;  ///< K one way, s^(1/2)
  std::optional<Estimate> end_reflection;
  std::vector<Mismatch> mismatches;  ///< in rising order of delay
  std::vector<ImpedanceSection> sections;
};

/// The pulse up to cut_s is what went in; everything after it is fitted as echoes of it (echo_fit.hpp): the
/// end first, then, as long as one stands out of what is left by least_significance, mismatches, all refitted
/// together. A skin-effect line is lossy in proportion to the way: the share of K of an echo is that of its
/// delay. K comes from the end; with a matched end it is taken as 0 and sizes are too small by the loss.
///
/// Impedance profile by peeling: behind each mismatch, from the near end on, Z (1 + r)/(1 - r), r its size
/// over the product of (1 - r^2) of those before (J. A. Stratton, Electromagnetic Theory (1941), 9.11;
/// section from memory; waves that meet three mismatches or more are not taken out, which is of the order of
/// r^3).
///
/// Uncertainties: as in through_delay. Delay to the end within two standard uncertainties in 95 % of 200
/// simulated lines (tests/unit/delay). Fails where the pulse is not over before the first echo: echoes within
/// it are not seen, and one cut in two is misread. A pulse reflected once more by a source that does not
/// match is told as behind the end. Steps that do not come back to the baseline are refused.
///
/// Throws Error for no records, no pulse, a pulse that is not over in the first half of the record or a cut
/// outside of it, and an end that was said to reflect without an echo that does.
ReflectionDelay reflection_delay(const TraceAverage& average, const ReflectionOptions& options = {});

/// Figures, tables "mismatches" and "impedance", plots of the trace and the impedance.
Result analyse_reflection(const TraceAverage& average, const ReflectionOptions& options = {});

}  // namespace firstedge
