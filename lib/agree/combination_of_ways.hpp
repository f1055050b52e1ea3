// Several ways to the same offset put together: whether they agree with each other, their mean, and what it
// is without each of them.
#pragma once

#include "firstedge/agree/comparison.hpp"
#include "firstedge/stats/combination.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Two ways to the same time must differ by zero: what they share (distance, clocks, elements) cancels.
struct WayDifference {
  std::size_t first = 0, second = 0;  ///< positions of the ways
  DelayBudget budget;                 ///< of the first offset less the second
  double e_n = 0;                     ///< difference over its expanded uncertainty
  bool agrees() const { return std::abs(e_n) <= 1; }
};

struct CombinedWays {
  double common_s = 0;     ///< standard uncertainty of what all ways share alike: no mean makes it smaller
  WeightedMean weighted;   ///< by the uncertainties without that
  bool consistent = true;  ///< chi-square is likely enough (0.05), or there is a single way
  std::optional<RandomEffects> spread;  ///< Mandel and Paule, where the ways are not consistent
  /// The offset to state: the weighted mean, or that with a spread of the ways; with the common part.
  Estimate offset_s;
};

/// Ways are taken as independent apart from terms that all of them share with one sensitivity; elements that
/// only some of them share are still treated as independent in the mean (exactly in WayDifference). No way:
/// Error.
CombinedWays combine_ways(std::span<const WayComparison> ways);

/// Every two ways.
std::vector<WayDifference> differences_of_ways(std::span<const WayComparison> ways,
                                               const DelayBudgetOptions& options = {});

/// The mean of all ways but one.
struct LeftOut {
  std::string name;
  CombinedWays rest;
};
std::vector<LeftOut> leave_one_out(std::span<const WayComparison> ways);

}  // namespace firstedge
