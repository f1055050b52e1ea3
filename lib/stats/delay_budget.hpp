// Delay budget: what the uncertainty of a delay (or of a difference of delays) is made of, by the law of
// propagation and by drawing, and which part is worth measuring again.
#pragma once

#include "firstedge/core/applied_delay.hpp"
#include "firstedge/core/result.hpp"
#include "firstedge/stats/monte_carlo_propagation.hpp"

#include <span>
#include <string>
#include <vector>

namespace firstedge {

struct DelayBudgetRow {
  DelayTerm term;
  double contribution_s = 0;   ///< |sensitivity| u
  double share = 0;            ///< of the variance
  double known_exactly_s = 0;  ///< combined standard uncertainty if this term had none
};

struct DelayBudget {
  std::string name;
  Estimate total_s;  ///< by the law (JCGM 100): combined standard uncertainty, effective degrees of freedom
  double coverage_factor = 2;  ///< of coverage_of_two_sigma at those degrees of freedom
  double expanded_s = 0;       ///< coverage_factor times the combined standard uncertainty
  Drawn drawn;                 ///< by drawing (JCGM 101), coverage_of_two_sigma; `sorted` thinned for plots
  std::vector<DelayBudgetRow> rows;  ///< the largest share first
};

struct DelayBudgetOptions {
  AdaptiveTrials trials;
  std::uint64_t seed = 1;
};

/// The budget of delay_s, which rests on these independent terms to first order. Both propagations take
/// delay_s + sum of sensitivity (input - its estimate): for the delays of chains, where a temperature
/// coefficient times a temperature is the only product, what is left out is below 1e-5 of the delay.
///
/// Without any uncertainty everything is 0 and the intervals are points. Throws Error for figures that
/// propagate() refuses.
DelayBudget delay_budget(std::string name, double delay_s, std::vector<DelayTerm> terms,
                         const DelayBudgetOptions& options = {});

/// One sentence: the term that improves most when measured again, and by how much; "" without uncertainty.
std::string remeasure_first(const DelayBudget& budget);

/// The rows as a table for people: term, what is known of it, contribution, share, total without it.
Table budget_table(const DelayBudget& budget, const std::string& key);

/// Several budgets side by side: delay, k = 1 and k = 2, effective degrees of freedom, and the same by
/// drawing.
Table totals_table(std::span<const DelayBudget> budgets);

/// Density of what was drawn, beside the normal density of the law.
Plot drawn_plot(const DelayBudget& budget, const std::string& key);

}  // namespace firstedge
