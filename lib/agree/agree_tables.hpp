// The tables and plots of an agreement. For lib/agree alone.
#pragma once

#include "firstedge/agree/combination_of_ways.hpp"
#include "firstedge/agree/suspects.hpp"
#include "firstedge/core/result.hpp"

#include <span>

namespace firstedge::agree_shown {

/// Whether all ways and all differences of ways are zero within their budgets.
bool all_agree(std::span<const WayComparison> ways, std::span<const WayDifference> differences);

/// One row: "agree" or "do not agree", the largest E_n and whose it is.
Table verdict_table(std::span<const WayComparison> ways, std::span<const WayDifference> differences);
Table ways_table(std::span<const WayComparison> ways);
Table uncertainties_table(std::span<const WayComparison> ways);
Table matching_table(std::span<const WayComparison> ways);
Table differences_table(std::span<const WayDifference> differences);
Table combination_table(const CombinedWays& combined, std::span<const LeftOut> left_out);
Table suspects_table(const Suspicion& suspicion);
Table dependences_table(std::span<const WayComparison> ways);
Table methods_table(std::span<const WayComparison> ways);
Table course_table(std::span<const WayComparison> ways);
Plot time_plot(std::span<const WayComparison> ways);
Plot distribution_plot(std::span<const WayComparison> ways);

}  // namespace firstedge::agree_shown
