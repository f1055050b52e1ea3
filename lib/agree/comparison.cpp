#include "firstedge/agree/comparison.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include <fmt/format.h>

namespace firstedge {
namespace {

// A dependence is told when it is rarer than this by chance, over all that were looked at.
constexpr double rare = 0.01;

std::vector<double> chosen(const std::vector<double>& values, const std::vector<Match>& pairs,
                           std::size_t Match::*member) {
  std::vector<double> beside;
  for (const Match& pair : pairs) beside.push_back(values[pair.*member]);
  return beside;
}

void add_dependences(const InstantList& list, std::size_t Match::*member, WayComparison& found) {
  for (const InstantColumn& column : list.columns)
    found.dependences.push_back(dependence_on(fmt::format("{} of {}", column.name, list.name), column.unit,
                                              chosen(column.values, found.matching.pairs, member),
                                              found.difference_s));
}

OffsetCourse course_without_outliers(const WayComparison& found) {
  std::vector<double> time_s, difference_s;
  for (std::size_t i = 0; i < found.time_s.size(); ++i) {
    if (std::abs(found.difference_s[i] - found.offset.median_s) > found.offset.limit_s) continue;
    time_s.push_back(found.time_s[i]);
    difference_s.push_back(found.difference_s[i]);
  }
  return course_of(time_s, difference_s);
}

std::string method_of(const Way& way, const Match& pair) {
  std::string first = way.first.methods.empty() ? "" : way.first.methods[pair.first];
  std::string second = way.second.methods.empty() ? "" : way.second.methods[pair.second];
  if (first == second || second.empty()) return first;
  return first.empty() ? second : first + ", " + second;
}

void add_methods(const Way& way, WayComparison& found) {
  std::map<std::string, std::vector<double>> by_method;
  for (const Match& pair : found.matching.pairs) by_method[method_of(way, pair)].push_back(pair.difference_s);
  if (by_method.size() < 2) return;
  for (const auto& [method, differences] : by_method) {
    if (differences.size() >= 2) found.methods.push_back({method, robust_offset(differences)});
  }
}

void add_warnings(const Way& way, WayComparison& found) {
  const Matching& matching = found.matching;
  const auto warn = [&](const std::string& words) { found.warnings.push_back(found.name + ": " + words); };
  for (const InstantList* list : {&way.first, &way.second}) {
    if (list->chain.empty())
      warn(fmt::format("no delays were taken out of {}: what its cables delay is in the offset", list->name));
    for (const std::string& note : list->notes) found.warnings.push_back(list->name + ": " + note);
  }
  if (matching.rival_share >= ambiguous_share)
    warn(fmt::format(
        "the offset is ambiguous: differences gather at {} too ({:.0f} % as many); narrow the window",
        format_quantity(*matching.rival_s, "s"), 100 * matching.rival_share));
  if (matching.doubly_first + matching.doubly_second > 0)
    warn(fmt::format("{} and {} instants have more than one partner and are left out", matching.doubly_first,
                     matching.doubly_second));
  if (found.offset.wanders)
    warn("the offset does not hold still over the run: its statistical uncertainty is taken from stretches");
  for (const Dependence& one : found.dependences) {
    if (one.probability * static_cast<double>(found.dependences.size()) < rare)
      warn(fmt::format("the offset goes with {} (rank correlation {:.2f}, probability {:.1g})", one.name,
                       one.rank_correlation, one.probability));
  }
  if (!found.budget.drawn.settled) warn("the Monte Carlo of the budget did not settle to two digits");
}

std::vector<DelayTerm> terms_of(const Way& way, const CompareOptions& options, const Estimate& mean_s) {
  // Corrected times are recorded ones less their delay: a longer first delay makes the offset larger.
  std::vector<DelayTerm> terms = difference_of(way.first.chain, way.second.chain);
  terms = difference_of(terms, options.travel.terms);
  terms = sum_of(terms, options.clocks);
  terms.push_back({.name = "readings of " + way.name,
                   .input = {0, mean_s.uncertainty, mean_s.degrees_of_freedom},
                   .distribution = Distribution::student_t,
                   .evaluation = Evaluation::type_a});
  return terms;
}

}  // namespace

std::vector<DelayTerm> station_clocks(double uncertainty_s) {
  if (!(uncertainty_s >= 0) || !std::isfinite(uncertainty_s))
    throw Error("clock uncertainty", fmt::format("is {:g} s", uncertainty_s), "give a standard uncertainty");
  if (uncertainty_s == 0) return {};
  return {{.name = "clock of the first station", .input = {0, uncertainty_s}},
          {.name = "clock of the second station", .input = {0, uncertainty_s}, .sensitivity = -1}};
}

WayComparison compare_way(const Way& way, const CompareOptions& options) {
  WayComparison found;
  found.name = way.name;
  found.first = way.first.name;
  found.second = way.second.name;
  found.matching = match_instants(way.first, way.second, options.travel.time_s, options.match);
  for (const Match& pair : found.matching.pairs) {
    found.difference_s.push_back(pair.difference_s);
    found.time_s.push_back(
        difference_s(way.first.instants[pair.first], way.first.instants[found.matching.pairs.front().first]));
  }
  found.offset = robust_offset(found.difference_s);
  found.budget = delay_budget(way.name, found.offset.mean_s.value,
                              terms_of(way, options, found.offset.mean_s), options.budget);
  found.e_n = found.budget.expanded_s > 0 ? found.offset.mean_s.value / found.budget.expanded_s
                                          : std::numeric_limits<double>::infinity();
  add_dependences(way.first, &Match::first, found);
  add_dependences(way.second, &Match::second, found);
  add_methods(way, found);
  found.course = course_without_outliers(found);
  add_warnings(way, found);
  return found;
}

}  // namespace firstedge
