// RunBlocks: the differences of a pair along the run, as means over evenly spaced blocks.
#pragma once

#include "firstedge/jitter/pairs.hpp"
#include "firstedge/jitter/run_clock.hpp"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace firstedge {

/// Block i holds the pairs at places begin + i length ... begin + (i + 1) length. All columns are of the same
/// size, the first and the last block are not empty.
struct RunBlocks {
  double begin = 0, length = 0;      ///< in the clock's unit: s, or records (whole numbers)
  std::vector<double> mean_s;        ///< NaN for a block without pairs
  std::vector<std::uint64_t> pairs;  ///< in each mean
  std::uint64_t used = 0, wild = 0, without_place = 0;  ///< pairs in the means, and those left out
  double scatter_s = 0;  ///< of a single difference, from neighbours: free of anything slow

  std::size_t size() const { return mean_s.size(); }
  double edge(std::size_t block) const { return begin + static_cast<double>(block) * length; }
  double middle(std::size_t block) const { return begin + (static_cast<double>(block) + 0.5) * length; }
  std::size_t filled() const;
  /// Standard uncertainty of a mean by the scatter.
  double uncertainty_s(std::size_t block) const;
  /// 1/pairs; NaN for an empty block.
  std::vector<double> relative_variance() const;
};

/// Blocks of about fewest_in_block pairs or more, and at most `most` for a run without pauses, so long that
/// what a run of even pace would fill is filled; with pauses there are up to 8 times as many, empty ones
/// among them. Places that fall back behind earlier ones do not occur (see RunClock). Left out of the means:
/// differences further than 5 scatters from the median of their block, and pairs without a place.
///
/// scatter_s: central half width of the differences of neighbouring pairs over sqrt 2, which neither a drift
/// nor a few wild values move. A sample without places gives no block. Throws Error for `most` below 16.
RunBlocks run_blocks(const PairSample& sample, const RunClock& clock, std::size_t most);

inline constexpr std::size_t fewest_in_block = 4;

}  // namespace firstedge
