// Chain: the delays of a run's channels as a Result: how long, how well known, and what to measure again
// first.
#pragma once

#include "firstedge/chain/delay_plan.hpp"
#include "firstedge/core/result.hpp"
#include "firstedge/stats/delay_budget.hpp"

#include <cstddef>

namespace firstedge {

struct ChainOptions {
  DelayBudgetOptions budget;
  std::size_t most_pairs = 12;  ///< differences of two channels that are shown, in the order of the channels
};

/// Figures: each channel's delay. Tables: "totals" (channels and differences), a budget for each, and
/// "stretches" where calibrations change within the run (budgets are then those of the first). Shared
/// elements cancel in the differences. The answer names the least known channel and what to measure again.
/// Throws Error for an empty plan.
Result analyse_chains(const DelayPlan& plan, const ChainOptions& options = {});

}  // namespace firstedge
