#include "firstedge/agree/agree.hpp"

#include "firstedge/agree/agree_tables.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

struct Judged {
  std::vector<WayComparison> ways, crossings;
  std::vector<WayDifference> differences;
  CombinedWays combined;
  std::vector<LeftOut> left_out;
  Suspicion suspicion;
};

std::vector<WayComparison> compared(const std::vector<Way>& ways, const CompareOptions& options) {
  std::vector<WayComparison> compared;
  for (const Way& way : ways) compared.push_back(compare_way(way, options));
  return compared;
}

const WayComparison& most_off(std::span<const WayComparison> ways) {
  return *std::max_element(ways.begin(), ways.end(), [](const WayComparison& a, const WayComparison& b) {
    return std::abs(a.e_n) < std::abs(b.e_n);
  });
}

Judged judge(const Agreement& agreement, const CompareOptions& options) {
  Judged judged;
  judged.ways = compared(agreement.ways, options);
  judged.crossings = compared(agreement.crossings, options);
  judged.differences = differences_of_ways(judged.ways, options.budget);
  judged.combined = combine_ways(judged.ways);
  judged.left_out = leave_one_out(judged.ways);
  std::vector<Way> ways = agreement.ways;
  ways.insert(ways.end(), agreement.crossings.begin(), agreement.crossings.end());
  std::vector<WayComparison> all = judged.ways;
  all.insert(all.end(), judged.crossings.begin(), judged.crossings.end());
  judged.suspicion = suspicion_of(ways, all);
  return judged;
}

std::string culprit(const Judged& judged) {
  std::string words;
  if (!judged.suspicion.chains.empty())
    words =
        fmt::format(" Every way through {} is off and no other.", fmt::join(judged.suspicion.chains, " or "));
  const auto found = std::find_if(judged.suspicion.suspects.begin(), judged.suspicion.suspects.end(),
                                  [](const Suspect& one) { return one.explains(); });
  if (found == judged.suspicion.suspects.end())
    return words + " No change of one element that is listed explains it.";
  return words + fmt::format(" Most likely wrong: '{}' of {}, if it is {}: {} would be left.", found->element,
                             found->chain, to_text(found->change), format_estimate(found->left_s, "s"));
}

std::string ways_line(const Judged& judged) {
  if (judged.differences.empty()) return "";
  const WayDifference& one = *std::max_element(
      judged.differences.begin(), judged.differences.end(),
      [](const WayDifference& a, const WayDifference& b) { return std::abs(a.e_n) < std::abs(b.e_n); });
  return fmt::format(" Two independent ways ({}) differ by {}, E_n = {:.2f}: {} within the budget.",
                     one.budget.name, format_estimate(one.budget.total_s, "s"), one.e_n,
                     one.agrees() ? "zero" : "not zero");
}

std::string answer_of(const Judged& judged) {
  const WayComparison& worst = most_off(judged.ways);
  const bool agree = agree_shown::all_agree(judged.ways, judged.differences);
  std::string words =
      agree ? fmt::format("The stations agree: offset {} (k = 1), largest E_n = {:.2f}.",
                          format_estimate(judged.combined.offset_s, "s"), worst.e_n)
            : fmt::format("The stations do not agree: by {} the offset is {} (k = 1), E_n = {:.2f}.",
                          worst.name, format_estimate(worst.budget.total_s, "s"), worst.e_n);
  if (!agree) words += culprit(judged);
  return words + ways_line(judged);
}

void add_figures(const Judged& judged, Result& result) {
  result.figures.push_back({"offset", "Combined offset", judged.combined.offset_s, "s"});
  for (std::size_t i = 0; i < judged.ways.size(); ++i) {
    const WayComparison& way = judged.ways[i];
    result.figures.push_back({fmt::format("offset_{}", i), "Offset by " + way.name, way.budget.total_s, "s"});
    result.figures.push_back({fmt::format("e_n_{}", i), "E_n of " + way.name, {way.e_n, 0}, ""});
  }
  if (judged.ways.size() > 1)
    result.figures.push_back(
        {"birge_ratio", "Birge ratio of the ways", {judged.combined.weighted.birge_ratio, 0}, ""});
}

void add_tables(const Judged& judged, Result& result) {
  using namespace agree_shown;
  result.tables.push_back(verdict_table(judged.ways, judged.differences));
  result.tables.push_back(ways_table(judged.ways));
  result.tables.push_back(uncertainties_table(judged.ways));
  if (!judged.suspicion.suspects.empty()) result.tables.push_back(suspects_table(judged.suspicion));
  if (!judged.differences.empty()) {
    result.tables.push_back(differences_table(judged.differences));
    result.tables.push_back(combination_table(judged.combined, judged.left_out));
  }
  if (!judged.crossings.empty()) {
    Table crossed = ways_table(judged.crossings);
    crossed.key = "crossings";
    crossed.title = "Crossed ways, which tell whose chain is off";
    result.tables.push_back(std::move(crossed));
  }
  for (std::size_t i = 0; i < judged.ways.size(); ++i)
    result.tables.push_back(budget_table(judged.ways[i].budget, fmt::format("budget_{}", i)));
  result.tables.push_back(matching_table(judged.ways));
  result.tables.push_back(course_table(judged.ways));
  for (Table table : {dependences_table(judged.ways), methods_table(judged.ways)}) {
    if (!table.rows.empty()) result.tables.push_back(std::move(table));
  }
}

}  // namespace

Result analyse_agreement(const Agreement& agreement, const CompareOptions& options) {
  if (agreement.ways.empty())
    throw Error("agreement", "there is nothing to compare", "give two lists of instants");
  const Judged judged = judge(agreement, options);
  Result result;
  result.kind = "agree";
  result.title = "Do the stations agree?";
  result.answer = answer_of(judged);
  add_figures(judged, result);
  add_tables(judged, result);
  result.plots = {agree_shown::time_plot(judged.ways), agree_shown::distribution_plot(judged.ways)};
  for (const WayComparison& way : judged.ways) {
    for (const std::string& words : way.warnings) {
      if (std::find(result.warnings.begin(), result.warnings.end(), words) == result.warnings.end())
        result.warnings.push_back(words);
    }
  }
  result.cautions = {
      "Agreement within the budget does not prove the budget: an error that all ways share (distance, both "
      "clocks, an element "
      "in every chain) moves all of them alike.",
      "Elements of one name with the same figures in both Setups are taken as one thing and cancel."};
  return result;
}

}  // namespace firstedge
