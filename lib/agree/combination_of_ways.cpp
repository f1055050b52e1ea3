#include "firstedge/agree/combination_of_ways.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double least_probability = 0.05;  // M. G. Cox, Metrologia 39 (2002) 589, from memory

std::vector<DelayTerm> terms_of(const WayComparison& way) {
  std::vector<DelayTerm> terms;
  for (const DelayBudgetRow& row : way.budget.rows) terms.push_back(row.term);
  return terms;
}

bool rests_on(const WayComparison& way, const DelayTerm& term) {
  return std::any_of(way.budget.rows.begin(), way.budget.rows.end(), [&](const DelayBudgetRow& row) {
    return is_same_quantity(row.term, term) && row.term.sensitivity == term.sensitivity;
  });
}

// Variance of what all ways share alike; 0 for a single way, whose parts are all its own.
double common_variance(std::span<const WayComparison> ways) {
  if (ways.size() < 2) return 0;
  double variance = 0;
  for (const DelayBudgetRow& row : ways.front().budget.rows) {
    const bool shared = std::all_of(ways.begin(), ways.end(),
                                    [&](const WayComparison& way) { return rests_on(way, row.term); });
    if (shared) variance += row.contribution_s * row.contribution_s;
  }
  return variance;
}

Estimate with_common(const Estimate& mean, double common_s) {
  return {mean.value, std::hypot(mean.uncertainty, common_s), mean.degrees_of_freedom};
}

}  // namespace

CombinedWays combine_ways(std::span<const WayComparison> ways) {
  if (ways.empty()) throw Error("combination", "there is no way to combine", "give at least one");
  CombinedWays combined;
  const double common = common_variance(ways);
  combined.common_s = std::sqrt(common);
  std::vector<Estimate> own;
  for (const WayComparison& way : ways) {
    const double u = way.budget.total_s.uncertainty;
    own.push_back({way.offset.mean_s.value, std::sqrt(std::max(u * u - common, 0.0))});
  }
  combined.weighted = weighted_mean(own);
  combined.consistent = ways.size() < 2 || combined.weighted.probability >= least_probability;
  if (!combined.consistent) combined.spread = random_effects_by_consistency(own);
  combined.offset_s =
      with_common(combined.spread ? combined.spread->mean : combined.weighted.mean, combined.common_s);
  return combined;
}

std::vector<WayDifference> differences_of_ways(std::span<const WayComparison> ways,
                                               const DelayBudgetOptions& options) {
  std::vector<WayDifference> differences;
  for (std::size_t a = 0; a < ways.size(); ++a) {
    for (std::size_t b = a + 1; b < ways.size(); ++b) {
      WayDifference one{.first = a, .second = b};
      const double value_s = ways[a].offset.mean_s.value - ways[b].offset.mean_s.value;
      one.budget = delay_budget(fmt::format("{} less {}", ways[a].name, ways[b].name), value_s,
                                difference_of(terms_of(ways[a]), terms_of(ways[b])), options);
      one.e_n = one.budget.expanded_s > 0 ? value_s / one.budget.expanded_s
                                          : std::numeric_limits<double>::infinity();
      differences.push_back(std::move(one));
    }
  }
  return differences;
}

std::vector<LeftOut> leave_one_out(std::span<const WayComparison> ways) {
  std::vector<LeftOut> left_out;
  for (std::size_t i = 0; i < ways.size() && ways.size() > 1; ++i) {
    std::vector<WayComparison> rest(ways.begin(), ways.end());
    rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(i));
    left_out.push_back({ways[i].name, combine_ways(rest)});
  }
  return left_out;
}

}  // namespace firstedge
