#include "firstedge/jitter/over_time.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {

const StabilityEstimate* OverTime::steadiest() const {
  const auto best = std::min_element(time_deviation.begin(), time_deviation.end(),
                                     [](const StabilityEstimate& a, const StabilityEstimate& b) {
                                       return a.point.deviation < b.point.deviation;
                                     });
  return best == time_deviation.end() ? nullptr : &*best;
}

double OverTime::time_deviation_of_scatter_s(double averaging_time) const {
  const double pairs_in_block = static_cast<double>(blocks.used) / static_cast<double>(blocks.filled());
  return blocks.scatter_s / std::sqrt(pairs_in_block * averaging_time / blocks.length);
}

OverTime over_time(const PairSample& sample, const RunClock& clock, const OverTimeOptions& options) {
  OverTime found{.blocks = run_blocks(sample, clock, options.most_blocks)};
  if (found.blocks.size() == 0) return found;
  const auto deviations = [&](StabilityMeasure measure) {
    return stability(found.blocks.mean_s, found.blocks.length,
                     {.measure = measure, .coverage = options.coverage});
  };
  found.time_deviation = deviations(StabilityMeasure::time);
  found.allan_deviation = deviations(StabilityMeasure::overlapping_allan);
  found.course = find_course(found.blocks.mean_s, found.blocks.relative_variance(), options.course);
  return found;
}

}  // namespace firstedge
