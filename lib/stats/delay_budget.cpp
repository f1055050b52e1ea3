#include "firstedge/stats/delay_budget.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace firstedge {
namespace {

// As many order statistics as a plot can use.
constexpr std::size_t most_kept_draws = 20'000;

void thin(std::vector<double>& sorted) {
  if (sorted.size() <= most_kept_draws) return;
  std::vector<double> kept(most_kept_draws);
  const double step = static_cast<double>(sorted.size() - 1) / (most_kept_draws - 1);
  for (std::size_t i = 0; i < kept.size(); ++i)
    kept[i] = sorted[static_cast<std::size_t>(std::lround(step * static_cast<double>(i)))];
  sorted = std::move(kept);
}

Drawn drawn_from(double delay_s, const std::vector<DelayTerm>& terms, const DelayBudgetOptions& options) {
  DrawnInputs drawn;
  std::vector<double> sensitivities;
  for (const DelayTerm& term : terms) {
    if (term.contribution_s() == 0) continue;
    drawn.inputs.estimates.push_back({0, term.input.uncertainty, term.input.degrees_of_freedom});
    drawn.distributions.push_back(term.distribution);
    sensitivities.push_back(term.sensitivity);
  }
  const Interval point{.low = delay_s, .high = delay_s};
  if (sensitivities.empty())
    return {.mean = delay_s, .deviation = 0, .symmetric = point, .shortest = point, .sorted = {delay_s}};
  const Measurand sum = [&](std::span<const double> x) {
    double delay = delay_s;
    for (std::size_t i = 0; i < x.size(); ++i) delay += sensitivities[i] * x[i];
    return delay;
  };
  Drawn result = draw_output_adaptively(sum, drawn, options.trials,
                                        {.coverage = coverage_of_two_sigma, .seed = options.seed});
  thin(result.sorted);
  return result;
}

Propagated law_of(const std::vector<DelayTerm>& terms) {
  InputQuantities inputs;
  std::vector<double> sensitivities;
  for (const DelayTerm& term : terms) {
    inputs.estimates.push_back(term.input);
    sensitivities.push_back(term.sensitivity);
  }
  return terms.empty() ? Propagated{} : propagate_sum(sensitivities, inputs);
}

}  // namespace

DelayBudget delay_budget(std::string name, double delay_s, std::vector<DelayTerm> terms,
                         const DelayBudgetOptions& options) {
  DelayBudget budget;
  budget.name = std::move(name);
  const Propagated law = law_of(terms);
  budget.total_s = law.output;
  budget.total_s.value = delay_s;
  budget.coverage_factor = coverage_factor(budget.total_s.degrees_of_freedom, coverage_of_two_sigma);
  budget.expanded_s = budget.coverage_factor * budget.total_s.uncertainty;
  budget.drawn = drawn_from(delay_s, terms, options);
  const double variance = budget.total_s.uncertainty * budget.total_s.uncertainty;
  for (std::size_t i = 0; i < terms.size(); ++i) {
    const Contribution& one = law.contributions[i];
    budget.rows.push_back({.term = std::move(terms[i]),
                           .contribution_s = one.uncertainty,
                           .share = one.share,
                           .known_exactly_s = std::sqrt(variance * std::max(0.0, 1 - one.share))});
  }
  std::stable_sort(budget.rows.begin(), budget.rows.end(),
                   [](const DelayBudgetRow& a, const DelayBudgetRow& b) { return a.share > b.share; });
  return budget;
}

}  // namespace firstedge
