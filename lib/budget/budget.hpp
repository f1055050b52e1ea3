// Budget: the pair budget as a Result: which term limits the time, by how much, and what helps most.
#pragma once

#include "firstedge/budget/pair_budget.hpp"
#include "firstedge/core/result.hpp"

namespace firstedge {

/// Figures, tables "terms" (per channel and of the pair, with the share of the measured variance),
/// "predictions" and "law", and the plot of spread against height. The answer names the largest term of the
/// pair and the change that helps most. Throws Error as pair_budget does.
Result analyse_budget(const BudgetPair& pair, const BudgetOptions& options = {});

}  // namespace firstedge
