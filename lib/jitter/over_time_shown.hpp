// The part 'over time' of a jitter result: tables, plots and sentences.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/jitter/over_time.hpp"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// One pair along the run.
struct PairOverTime {
  std::string name;
  OverTime found;
};

Table blocks_table(const RunClock& clock, std::span<const PairOverTime> pairs);
Table time_deviations_table(const RunClock& clock, std::span<const PairOverTime> pairs, double coverage);
Table allan_deviations_table(const RunClock& clock, std::span<const PairOverTime> pairs, double coverage);
Table course_table(const RunClock& clock, std::span<const PairOverTime> pairs);

Plot course_plot(const RunClock& clock, const PairOverTime& pair, std::size_t number);
Plot time_deviation_plot(const RunClock& clock, const PairOverTime& pair, std::size_t number);
Plot allan_deviation_plot(const RunClock& clock, const PairOverTime& pair, std::size_t number);

/// What "along the run" is told of: sentence parts on steps, warm-ups, a drift and a wander; none where the
/// difference stands still.
std::vector<std::string> words_of_course(const RunClock& clock, const OverTime& found);

}  // namespace firstedge
