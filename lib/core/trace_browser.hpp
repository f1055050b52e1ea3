// TraceBrowser: a Result with the traces behind its points, so that a person can look at them one by one.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/core/stamp.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace firstedge {

/// A pulse in its trace, with all that was found out about it. All volts are those of the trace as it was
/// timed (filters applied), its level left in.
struct BrowsedTrace {
  std::uint64_t record = 0;
  std::uint16_t channel = 0;  ///< position in TraceBrowser::channels
  std::uint16_t pulse = 0;    ///< 0 for the first pulse of its trace
  double first_sample_s = 0;  ///< of the stretch shown, from the trigger
  double interval_s = 0;
  std::vector<double> volts;  ///< shape (samples,)
  double recorded_first_sample_s = 0;
  std::vector<double> recorded_volts;  ///< before the filters; empty where there are none
  std::vector<double> fit_volts;       ///< the channel's template as it was fitted, same size; empty without
  /// One a method that looked at the pulse; level_v[i] is where the trace stands at the time of stamps[i],
  /// NaN where that is not in the stretch or there is no time.
  std::vector<Stamp> stamps;
  std::vector<double> level_v;
  std::vector<double> other_pulses_s;  ///< times of the other pulses of the stretch
};

/// Traces that are stepped through together. pulses counts all of that kind in the run, traces those at hand.
struct TraceGroup {
  std::string label;
  std::string rule;  ///< what it is and how its traces were chosen, one sentence
  std::uint64_t pulses = 0;
  std::vector<std::size_t> traces;  ///< positions in TraceBrowser::traces
};

/// The traces behind the points of one series of a plot of the result.
struct PointTraces {
  std::string plot_key;
  std::size_t series = 0;
  std::vector<std::vector<std::size_t>> of_point;  ///< one list a point, positions in TraceBrowser::traces
};

/// What the report room shows as a page with a window onto traces.
struct TraceBrowser {
  Result result;
  std::vector<std::string> channels, methods;
  std::size_t method = 0;  ///< the one that plots and groups go by
  std::vector<BrowsedTrace> traces;
  std::vector<TraceGroup> groups;
  std::vector<PointTraces> points;
};

}  // namespace firstedge
