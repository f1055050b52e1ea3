// Spread over time: how the difference of a pair moves along a long run, and how far averaging helps.
#pragma once

#include "firstedge/jitter/run_blocks.hpp"
#include "firstedge/stats/course.hpp"
#include "firstedge/stats/spread.hpp"
#include "firstedge/stats/stability_interval.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

struct OverTimeOptions {
  std::size_t fewest_pairs = 256;  ///< pairs with fewer usable records are left out of this part
  std::size_t most_blocks = 1024;  ///< along the run; 0: this part is left out
  double coverage = share_within_one_sigma;
  CourseOptions course;
};

/// What is found of one pair.
struct OverTime {
  RunBlocks blocks;
  /// Of the blocks' means at octaves of the block's length; averaging times and the Allan deviation are in
  /// the clock's unit (s and s/s, or records and s a record).
  std::vector<StabilityEstimate> time_deviation, allan_deviation;
  Course course;  ///< in blocks

  /// The averaging time with the smallest time deviation; nothing where there is none.
  const StabilityEstimate* steadiest() const;
  /// What pairs without memory would have at an averaging time: scatter over the root of their number.
  double time_deviation_of_scatter_s(double averaging_time) const;
};

/// Time deviation and overlapping Allan deviation (stability_interval.hpp) and the course (course.hpp) of the
/// means over blocks. Throws Error as run_blocks, stability and find_course do.
OverTime over_time(const PairSample& sample, const RunClock& clock, const OverTimeOptions& options);

}  // namespace firstedge
