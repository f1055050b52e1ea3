#include "firstedge/agree/agree_tables.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge::agree_shown {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double count(std::size_t number) {
  return static_cast<double>(number);
}

std::string verdict(bool agrees) {
  return agrees ? "agree" : "do not agree";
}

}  // namespace

bool all_agree(std::span<const WayComparison> ways, std::span<const WayDifference> differences) {
  return std::all_of(ways.begin(), ways.end(), [](const WayComparison& way) { return way.agrees(); }) &&
         std::all_of(differences.begin(), differences.end(),
                     [](const WayDifference& one) { return one.agrees(); });
}

Table verdict_table(std::span<const WayComparison> ways, std::span<const WayDifference> differences) {
  double largest = 0;
  std::string whose;
  const auto take = [&](double e_n, const std::string& name) {
    if (!whose.empty() && std::abs(e_n) <= std::abs(largest)) return;
    largest = e_n;
    whose = name;
  };
  for (const WayComparison& way : ways) take(way.e_n, way.name);
  for (const WayDifference& one : differences) take(one.e_n, one.budget.name);
  return {.key = "verdict",
          .title = "Verdict",
          .note = "They agree where every way, and every difference of two ways, has an E_n within ±1.",
          .columns = {{"verdict", "The stations", ""}, {"e_n", "Largest E_n", ""}, {"of", "of", ""}},
          .rows = {{verdict(all_agree(ways, differences)), largest, whose}}};
}

Table ways_table(std::span<const WayComparison> ways) {
  Table table{
      .key = "ways",
      .title = "Offset by each way",
      .note =
          "Offset: second station less first, less the expected travel time, with its combined standard "
          "uncertainty. E_n: offset over its expanded uncertainty; within ±1 the stations agree.",
      .columns = {{"way", "Way", ""},
                  {"offset", "Offset", "s"},
                  {"expanded", "Expanded, 95.45 %", "s"},
                  {"e_n", "E_n", ""},
                  {"verdict", "The stations", ""}},
      .rows = {}};
  for (const WayComparison& way : ways)
    table.rows.push_back(
        {way.name, way.budget.total_s, way.budget.expanded_s, way.e_n, verdict(way.agrees())});
  return table;
}

Table uncertainties_table(std::span<const WayComparison> ways) {
  Table table{
      .key = "uncertainties",
      .title = "Uncertainty of each way",
      .note =
          "Statistical: from the scatter of the pairs alone. k = 1: combined with chains, distance, speed "
          "and clocks (JCGM 100). Drawn: the interval of 95.45 % by Monte Carlo (JCGM 101).",
      .columns = {{"way", "Way", ""},
                  {"pairs", "Pairs used", ""},
                  {"outliers", "Outliers", ""},
                  {"statistical", "Statistical", "s"},
                  {"k1", "k = 1", "s"},
                  {"k2", "k = 2", "s"},
                  {"low", "Drawn, from", "s"},
                  {"high", "to", "s"}},
      .rows = {}};
  for (const WayComparison& way : ways)
    table.rows.push_back({way.name, count(way.offset.used), count(way.offset.outliers),
                          way.offset.mean_s.uncertainty, way.budget.total_s.uncertainty,
                          2 * way.budget.total_s.uncertainty, way.budget.drawn.symmetric.low,
                          way.budget.drawn.symmetric.high});
  return table;
}

Table matching_table(std::span<const WayComparison> ways) {
  Table table{.key = "matching",
              .title = "Which instants belong together",
              .note =
                  "Differences are sought within the window about the expected one, and pairs taken near the "
                  "place where most gather. An instant with more than one partner there is left out.",
              .columns = {{"way", "Way", ""},
                          {"pairs", "Pairs", ""},
                          {"unmatched_first", "Unmatched, first", ""},
                          {"unmatched_second", "second", ""},
                          {"doubly_first", "Doubly matched, first", ""},
                          {"doubly_second", "second", ""},
                          {"half_width", "Taken within ±", "s"},
                          {"rival", "Next gathering at", "s"},
                          {"rival_share", "with", "%"}},
              .rows = {}};
  for (const WayComparison& way : ways) {
    const Matching& matching = way.matching;
    table.rows.push_back({way.name, count(matching.pairs.size()), count(matching.unmatched_first),
                          count(matching.unmatched_second), count(matching.doubly_first),
                          count(matching.doubly_second), matching.half_width_s,
                          matching.rival_s.value_or(nan), 100 * matching.rival_share});
  }
  return table;
}

Table differences_table(std::span<const WayDifference> differences) {
  Table table{
      .key = "differences",
      .title = "Two independent ways to the same time",
      .note =
          "They must differ by zero within the budget of what they do not share: distance, clocks and "
          "shared elements cancel.",
      .columns = {{"ways", "Ways", ""},
                  {"difference", "Difference", "s"},
                  {"expanded", "Expanded, 95.45 %", "s"},
                  {"e_n", "E_n", ""},
                  {"verdict", "The ways", ""}},
      .rows = {}};
  for (const WayDifference& one : differences)
    table.rows.push_back(
        {one.budget.name, one.budget.total_s, one.budget.expanded_s, one.e_n, verdict(one.agrees())});
  return table;
}

Table combination_table(const CombinedWays& combined, std::span<const LeftOut> left_out) {
  Table table{
      .key = "combination",
      .title = "The ways put together",
      .note = fmt::format(
          "Weighted mean of what the ways do not share; where chi-square is too large (probability below "
          "0.05) a spread of the ways is added (Mandel and Paule). All ways share {} (k = 1), which is in "
          "each uncertainty.",
          format_quantity(combined.common_s, "s", 2)),
      .columns = {{"of", "Of", ""},
                  {"offset", "Offset", "s"},
                  {"chi_square", "χ²", ""},
                  {"degrees_of_freedom", "Degrees of freedom", ""},
                  {"probability", "Probability of a larger χ²", ""},
                  {"birge", "Birge ratio", ""},
                  {"between", "Spread of the ways", "s"}},
      .rows = {}};
  const auto add = [&](const std::string& name, const CombinedWays& one) {
    table.rows.push_back({name, one.offset_s, one.weighted.chi_square, count(one.weighted.degrees_of_freedom),
                          one.weighted.probability, one.weighted.birge_ratio,
                          one.spread ? one.spread->between : 0.0});
  };
  add("all ways", combined);
  for (const LeftOut& one : left_out) add("without " + one.name, one.rest);
  return table;
}

Table suspects_table(const Suspicion& suspicion) {
  const std::span<const Suspect> suspects(suspicion.suspects);
  constexpr std::size_t most_shown = 12;
  Table table{.key = "suspects",
              .title = "What would explain the offset",
              .note = fmt::format(
                  "One change of one chain at a time, tried on {}: {}. Pull: what would be left over its "
                  "standard uncertainty; at most 2 explains it. That a change fits does not prove it: look "
                  "at the bench.",
                  suspicion.tried_on, format_estimate(suspicion.offset_s, "s")),
              .columns = {{"chain", "Chain", ""},
                          {"element", "Element", ""},
                          {"change", "If it is", ""},
                          {"left", "Offset left", "s"},
                          {"pull", "Pull", ""},
                          {"explains", "Explains", ""}},
              .rows = {}};
  for (const Suspect& one : suspects.first(std::min(most_shown, suspects.size())))
    table.rows.push_back({one.chain, one.element, std::string(to_text(one.change)), one.left_s, one.pull,
                          std::string(one.explains() ? "yes" : "no")});
  return table;
}

Table dependences_table(std::span<const WayComparison> ways) {
  Table table{
      .key = "dependences",
      .title = "What the offset goes with",
      .note = "Rank correlation (Spearman) of the pairs' differences, and the slope of a straight line.",
      .columns = {{"way", "Way", ""},
                  {"with", "With", ""},
                  {"pairs", "Pairs", ""},
                  {"correlation", "Rank correlation", ""},
                  {"probability", "Probability by chance", ""},
                  {"slope", "Slope, s per unit", ""},
                  {"unit", "Unit", ""}},
      .rows = {}};
  for (const WayComparison& way : ways) {
    for (const Dependence& one : way.dependences)
      table.rows.push_back({way.name, one.name, count(one.pairs), one.rank_correlation, one.probability,
                            one.slope, one.unit.empty() ? std::string("-") : one.unit});
  }
  return table;
}

Table methods_table(std::span<const WayComparison> ways) {
  Table table{.key = "methods",
              .title = "Offset by method",
              .note = "Statistical uncertainty only: the budget of the chains is common to all methods.",
              .columns = {{"way", "Way", ""},
                          {"method", "Method", ""},
                          {"pairs", "Pairs", ""},
                          {"offset", "Offset", "s"}},
              .rows = {}};
  for (const WayComparison& way : ways) {
    for (const MethodOffset& one : way.methods)
      table.rows.push_back({way.name, one.method, count(one.offset.used), one.offset.mean_s});
  }
  return table;
}

Table course_table(std::span<const WayComparison> ways) {
  Table table{
      .key = "course",
      .title = "Offset against time",
      .note =
          "Drift: straight line through all pairs. Steps: of the means of blocks, at a false alarm in 100 "
          "runs.",
      .columns = {{"way", "Way", ""},
                  {"what", "What", ""},
                  {"at", "At", "s"},
                  {"size", "Size", ""},
                  {"unit", "Unit", ""},
                  {"probability", "Probability by chance", ""}},
      .rows = {}};
  for (const WayComparison& way : ways) {
    table.rows.push_back({way.name, std::string("drift"), nan, way.course.drift, std::string("s/s"),
                          way.course.drift_probability});
    for (const CourseStep& step : way.course.course.steps)
      table.rows.push_back({way.name, std::string("step"), static_cast<double>(step.at) * way.course.block_s,
                            step.size, std::string("s"), step.probability});
  }
  return table;
}

Plot time_plot(std::span<const WayComparison> ways) {
  Plot plot{
      .key = "time",
      .title = "Offset against time",
      .caption =
          "Means of blocks with their statistical uncertainty, from the first instant. Look for steps and "
          "slopes: an offset that moves is no offset.",
      .x = {"Time", "s"},
      .y = {"Offset", "s"},
      .series = {},
      .markers = {{.at = 0, .vertical = false, .label = "expected"}}};
  for (const WayComparison& way : ways) {
    Series series{.label = way.name, .kind = Series::Kind::points, .x = {}, .y = {}};
    if (way.course.block_mean_s.empty()) {
      series.x = way.time_s;
      series.y = way.difference_s;
    } else {
      series.x = way.course.block_time_s;
      series.y = way.course.block_mean_s;
      series.y_uncertainty = way.course.block_uncertainty_s;
    }
    plot.series.push_back(std::move(series));
  }
  return plot;
}

Plot distribution_plot(std::span<const WayComparison> ways) {
  Plot plot{.key = "distribution",
            .title = "Distribution of the differences",
            .caption =
                "Pairs of instants, second less first less the expected travel time. One peak at zero is "
                "agreement; a second peak is another partner.",
            .x = {"Difference", "s"},
            .y = {"Pairs", ""},
            .series = {},
            .markers = {{.at = 0, .vertical = true, .label = "expected"}}};
  constexpr std::size_t bins = 60;
  constexpr double half_widths = 6;
  for (const WayComparison& way : ways) {
    const double half_s = half_widths * way.offset.spread_s;
    if (!(half_s > 0)) continue;
    Series series{
        .label = way.name, .kind = Series::Kind::steps, .x = {}, .y = std::vector<double>(bins, 0.0)};
    const double low_s = way.offset.median_s - half_s, width_s = 2 * half_s / bins;
    for (std::size_t i = 0; i < bins; ++i)
      series.x.push_back(low_s + (static_cast<double>(i) + 0.5) * width_s);
    for (const double one : way.difference_s) {
      const double place = (one - low_s) / width_s;
      if (place >= 0 && place < bins) ++series.y[static_cast<std::size_t>(place)];
    }
    plot.series.push_back(std::move(series));
  }
  return plot;
}

}  // namespace firstedge::agree_shown
