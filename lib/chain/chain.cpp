#include "firstedge/chain/chain.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::uint64_t last_of_all = std::numeric_limits<std::uint64_t>::max();

std::vector<const AppliedDelay*> first_stretches(const DelayPlan& plan) {
  std::vector<const AppliedDelay*> first;
  for (const AppliedDelay& delay : plan.delays) {
    if (first.empty() || first.back()->channel != delay.channel) first.push_back(&delay);
  }
  return first;
}

Table stretches_table(const DelayPlan& plan) {
  Table table{
      .key = "stretches",
      .title = "Stretches of records",
      .note = "Calibrations change within the run; budgets and totals are those of the first stretch.",
      .columns = {{"channel", "Channel", ""},
                  {"first", "From record", ""},
                  {"last", "To record", ""},
                  {"delay", "Delay", "s"},
                  {"doubtful", "Calibration", ""}},
      .rows = {}};
  for (const AppliedDelay& one : plan.delays)
    table.rows.push_back(
        {one.channel, fmt::format("{}", one.first_record),
         one.last_record == last_of_all ? std::string("end") : fmt::format("{}", one.last_record),
         one.delay_s, std::string(one.doubtful ? "not valid" : "valid")});
  return table;
}

std::vector<DelayBudget> budgets_of(const std::vector<const AppliedDelay*>& channels,
                                    const ChainOptions& options) {
  std::vector<DelayBudget> budgets;
  for (const AppliedDelay* one : channels)
    budgets.push_back(delay_budget(one->channel, one->delay_s, one->terms, options.budget));
  std::size_t pairs = 0;
  for (std::size_t a = 0; a < channels.size(); ++a) {
    for (std::size_t b = a + 1; b < channels.size() && pairs < options.most_pairs; ++b, ++pairs)
      budgets.push_back(delay_budget(fmt::format("{} less {}", channels[a]->channel, channels[b]->channel),
                                     channels[a]->delay_s - channels[b]->delay_s,
                                     difference_of(channels[a]->terms, channels[b]->terms), options.budget));
  }
  return budgets;
}

std::string answer_of(std::span<const DelayBudget> channels) {
  const auto least_known =
      std::max_element(channels.begin(), channels.end(), [](const DelayBudget& a, const DelayBudget& b) {
        return a.total_s.uncertainty < b.total_s.uncertainty;
      });
  const std::string again = remeasure_first(*least_known);
  return fmt::format("The chain of {} is the least known: {} (k = 1).{}", least_known->name,
                     format_estimate(least_known->total_s, "s"), again.empty() ? "" : " " + again);
}

}  // namespace

Result analyse_chains(const DelayPlan& plan, const ChainOptions& options) {
  const std::vector<const AppliedDelay*> channels = first_stretches(plan);
  if (channels.empty()) throw Error("chains", "there is no channel with a chain", "give a Setup with chains");
  const std::vector<DelayBudget> budgets = budgets_of(channels, options);
  Result result;
  result.kind = "chain";
  result.title = "Delays of the chains";
  result.answer = answer_of(std::span(budgets).first(channels.size()));
  for (std::size_t i = 0; i < channels.size(); ++i)
    result.figures.push_back(
        {fmt::format("delay_{}", i), "Delay of " + budgets[i].name, budgets[i].total_s, "s"});
  result.tables.push_back(totals_table(budgets));
  for (std::size_t i = 0; i < budgets.size(); ++i) {
    result.tables.push_back(budget_table(budgets[i], fmt::format("budget_{}", i)));
    if (!budgets[i].drawn.settled)
      result.warnings.push_back(
          fmt::format("the Monte Carlo of {} did not settle to two digits", budgets[i].name));
    Plot plot = drawn_plot(budgets[i], fmt::format("drawn_{}", i));
    if (i < channels.size() && !plot.series.empty()) result.plots.push_back(std::move(plot));
  }
  if (plan.delays.size() > channels.size()) result.tables.push_back(stretches_table(plan));
  result.warnings.insert(result.warnings.end(), plan.warnings.begin(), plan.warnings.end());
  result.cautions = {
      "The uncertainty of a delay is common to all stamps of its channel: it does not shrink with their "
      "number, "
      "and it is not in the stamps' own uncertainties.",
      "An element that is not in the list, or is in it and not in the path, is in no budget."};
  return result;
}

}  // namespace firstedge
