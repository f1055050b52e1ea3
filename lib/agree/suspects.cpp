#include "firstedge/agree/suspects.hpp"

#include "firstedge/agree/combination_of_ways.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <set>
#include <tuple>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Stands for no uncertainty where one divides by it: far below anything that is measured.
constexpr double no_uncertainty_s = 1e-18;

bool holds(std::span<const DelayTerm> terms, const DelayTerm& wanted) {
  return std::any_of(terms.begin(), terms.end(),
                     [&](const DelayTerm& one) { return is_same_quantity(one, wanted); });
}

bool goes_through(const WayComparison& way, const std::string& chain) {
  return way.first == chain || way.second == chain;
}

// variances: how many times the element's own variance the change adds.
Suspect suspect(const Estimate& offset_s, const std::string& chain, const DelayTerm& term, Change change,
                double moved_s) {
  static constexpr std::array<double, 3> variances{-1, 1, 3};
  const double own = term.contribution_s() * term.contribution_s();
  const double variance =
      offset_s.uncertainty * offset_s.uncertainty + variances.at(static_cast<std::size_t>(change)) * own;
  const Estimate left{offset_s.value + moved_s, std::sqrt(std::max(variance, 0.0)),
                      offset_s.degrees_of_freedom};
  return {.chain = chain,
          .element = term.name,
          .change = change,
          .left_s = left,
          .pull = std::abs(left.value) / std::max(left.uncertainty, no_uncertainty_s)};
}

std::vector<DelayTerm> chains_of(const Way& way) {
  return sum_of(way.first.chain, way.second.chain);
}

// A way that is off through a chain pointed at, and one that agrees.
struct Sharpest {
  std::size_t off = 0, agrees = 0;
  Estimate difference_s;
  bool found = false;
};

Sharpest sharpest_of(std::span<const WayComparison> ways) {
  Sharpest best;
  // By the law alone: what is drawn is not looked at here.
  const DelayBudgetOptions few_draws{.trials = {.significant_digits = 1}};
  for (const WayDifference& one : differences_of_ways(ways, few_draws)) {
    if (ways[one.first].agrees() == ways[one.second].agrees()) continue;
    const bool first_agrees = ways[one.first].agrees();
    Estimate difference_s = one.budget.total_s;
    if (best.found && difference_s.uncertainty >= best.difference_s.uncertainty) continue;
    if (first_agrees) difference_s.value = -difference_s.value;
    best = {.off = first_agrees ? one.second : one.first,
            .agrees = first_agrees ? one.first : one.second,
            .difference_s = difference_s,
            .found = true};
  }
  return best;
}

}  // namespace

std::string_view to_text(Change change) {
  static constexpr std::array<std::string_view, 3> words{"in the chain, but not in the path",
                                                         "in the path, but not in the chain",
                                                         "passed twice, but in the chain once"};
  return words.at(static_cast<std::size_t>(change));
}

std::vector<Suspect> suspects_of(const Estimate& offset_s, const Way& way,
                                 std::span<const DelayTerm> shared) {
  std::vector<Suspect> suspects;
  for (const InstantList* list : {&way.first, &way.second}) {
    // What one more second taken out of this chain does to the offset.
    const double sign = list == &way.first ? 1 : -1;
    for (const DelayTerm& term : list->chain) {
      if (term.unit != "s" || term.input.value == 0 || holds(shared, term)) continue;
      const double moved_s = sign * term.input.value;
      suspects.push_back(suspect(offset_s, list->name, term, Change::not_in_path, -moved_s));
      suspects.push_back(suspect(offset_s, list->name, term, Change::passed_twice, moved_s));
    }
    for (const DelayTerm& term : list->spare)
      suspects.push_back(suspect(offset_s, list->name, term, Change::not_in_chain, sign * term.input.value));
  }
  std::stable_sort(suspects.begin(), suspects.end(), [](const Suspect& a, const Suspect& b) {
    const auto rank = [](const Suspect& one) {
      const bool unlikely = one.change == Change::passed_twice;
      return std::tuple(!one.explains(), one.explains() && unlikely, one.pull);
    };
    return rank(a) < rank(b);
  });
  return suspects;
}

std::vector<std::string> chains_pointed_at(std::span<const WayComparison> ways) {
  const bool any_agrees =
      std::any_of(ways.begin(), ways.end(), [](const WayComparison& way) { return way.agrees(); });
  std::set<std::string> names;
  for (const WayComparison& way : ways) {
    if (!way.agrees()) names.insert({way.first, way.second});
  }
  std::vector<std::string> pointed;
  for (const std::string& name : names) {
    const bool fits = std::all_of(ways.begin(), ways.end(), [&](const WayComparison& way) {
      return goes_through(way, name) != way.agrees();
    });
    if (fits && any_agrees) pointed.push_back(name);
  }
  return pointed;
}

Suspicion suspicion_of(std::span<const Way> ways, std::span<const WayComparison> compared) {
  assert(ways.size() == compared.size());
  Suspicion suspicion;
  const auto worst = std::max_element(
      compared.begin(), compared.end(),
      [](const WayComparison& a, const WayComparison& b) { return std::abs(a.e_n) < std::abs(b.e_n); });
  if (worst == compared.end() || worst->agrees()) return suspicion;
  suspicion.chains = chains_pointed_at(compared);
  const Sharpest sharpest = suspicion.chains.empty() ? Sharpest{} : sharpest_of(compared);
  if (sharpest.found) {
    suspicion.tried_on =
        fmt::format("{} less {}", compared[sharpest.off].name, compared[sharpest.agrees].name);
    suspicion.offset_s = sharpest.difference_s;
    suspicion.suspects =
        suspects_of(sharpest.difference_s, ways[sharpest.off], chains_of(ways[sharpest.agrees]));
  } else {
    suspicion.tried_on = worst->name;
    suspicion.offset_s = worst->budget.total_s;
    suspicion.suspects =
        suspects_of(worst->budget.total_s, ways[static_cast<std::size_t>(worst - compared.begin())]);
  }
  std::stable_partition(suspicion.suspects.begin(), suspicion.suspects.end(), [&](const Suspect& one) {
    return std::find(suspicion.chains.begin(), suspicion.chains.end(), one.chain) != suspicion.chains.end();
  });
  return suspicion;
}

}  // namespace firstedge
