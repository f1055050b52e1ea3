#include "firstedge/budget/budget.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

struct Term {
  std::string label;
  Estimate ChannelBudget::*of;
};
const std::vector<Term>& terms() {
  static const std::vector<Term> all{{"Noise over slew", &ChannelBudget::noise},
                                     {"Rounding to counts", &ChannelBudget::rounding},
                                     {"Sampling and interpolation", &ChannelBudget::sampling},
                                     {"Walk left over", &ChannelBudget::walk},
                                     {"Shape fluctuation", &ChannelBudget::shape}};
  return all;
}

// Two variances added; one that is not known leaves the other.
Estimate sum_of(const Estimate& a, const Estimate& b) {
  if (!std::isfinite(a.value)) return b;
  if (!std::isfinite(b.value)) return a;
  return {a.value + b.value, std::hypot(a.uncertainty, b.uncertainty)};
}

Table::Cell cell(const Estimate& variance) {
  return std::isfinite(variance.value) ? Table::Cell(signed_root(variance)) : Table::Cell(nan);
}

Estimate total_of(const ChannelBudget& channel) {
  Estimate total{0, 0};
  for (const Term& term : terms()) total = sum_of(total, channel.*term.of);
  return total;
}

Table terms_table(const BudgetPair& pair, const PairBudget& budget) {
  const auto& [first, second] = budget.channels;
  const double measured2 = budget.spread_s.value * budget.spread_s.value;
  const auto share = [&](const Estimate& variance) { return 100 * variance.value / measured2; };
  Table table{.key = "terms",
              .title = "What the spread is made of",
              .note =
                  "Standard deviations; their squares add up. A minus sign: the variance came out negative, "
                  "which means that the term cannot be told from 0.",
              .columns = {{"term", "Term", ""},
                          {"first", pair.channels[0].name, "s"},
                          {"second", pair.channels[1].name, "s"},
                          {"pair", "Difference", "s"},
                          {"share", "Share of variance", "%"}},
              .rows = {}};
  for (const Term& term : terms()) {
    const Estimate both = sum_of(first.*term.of, second.*term.of);
    table.rows.push_back({term.label, cell(first.*term.of), cell(second.*term.of), cell(both), share(both)});
  }
  const Estimate a = total_of(first), b = total_of(second), all = sum_of(a, b);
  table.rows.push_back({"Other channel's part", cell(b), cell(a), nan, nan});
  table.rows.push_back({"Sum of the terms", cell(a), cell(b), cell(all), share(all)});
  table.rows.push_back({"Constant rest", nan, nan, cell(budget.rest), share(budget.rest)});
  table.rows.push_back({"Measured", nan, nan, budget.spread_s, 100.0});
  table.rows.push_back({"Cramér-Rao bound", first.bound_s, second.bound_s, budget.bound_s,
                        100 * budget.bound_s * budget.bound_s / measured2});
  return table;
}

Table predictions_table(const PairBudget& budget) {
  Table table{.key = "predictions",
              .title = "What would help",
              .note =
                  "Spread of the difference if both channels were changed so and all else stayed. The band "
                  "is widened with its noise density; a sensor that is slower than the band gains less.",
              .columns = {{"change", "Change", ""},
                          {"spread", "Predicted spread", "s"},
                          {"gain", "Less than measured by", "%"},
                          {"bound", "Bound then", "s"}},
              .rows = {}};
  for (const Prediction& one : budget.predictions)
    table.rows.push_back(
        {one.change, one.spread_s, 100 * (1 - one.spread_s / budget.spread_s.value), one.bound_s});
  return table;
}

Table law_table(const HeightDependence& heights) {
  return {.key = "law",
          .title = "Spread against height",
          .note = "spread² = (a/height)² + b², height: the lower of the two; a negative b² has no root.",
          .columns = {{"a", "a", "V s"},
                      {"b", "b", "s"},
                      {"b_squared", "b²", "s²"},
                      {"probability", "Probability of chi-square", ""}},
          .rows = {{heights.a_v_s, heights.b_s, heights.b_squared_s2, heights.probability}}};
}

Plot height_plot(const HeightDependence& heights) {
  Plot plot{.key = "heights",
            .title = "Spread against height",
            .caption =
                "Spread of the difference in bins of the lower height, and the bound. Look for a spread that "
                "no longer falls with the height: there noise no longer limits.",
            .x = {"Lower height", "V", true},
            .y = {"Spread", "s"},
            .series = {},
            .markers = {}};
  Series measured{.label = "measured", .kind = Series::Kind::points, .x = {}, .y = {}, .y_uncertainty = {}};
  Series law{.label = "a/height ⊕ b", .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  Series bound{.label = "bound", .kind = Series::Kind::line, .x = {}, .y = {}, .y_uncertainty = {}};
  for (const HeightBin& bin : heights.bins) {
    const double height_v = bin.effective_height_v();
    for (Series* series : {&measured, &law, &bound}) series->x.push_back(height_v);
    measured.y.push_back(bin.spread_s.value);
    measured.y_uncertainty.push_back(bin.spread_s.uncertainty);
    law.y.push_back(heights.sigma_s(height_v));
    bound.y.push_back(bin.bound_s);
  }
  if (measured.x.empty()) return plot;
  plot.series = {std::move(measured), std::move(bound)};
  // Too few bins fix no law.
  if (std::all_of(law.y.begin(), law.y.end(), [](double y) { return std::isfinite(y); }))
    plot.series.insert(plot.series.begin() + 1, std::move(law));
  return plot;
}

// The term with the most variance in the difference, the rest among them.
struct Largest {
  std::string label;
  Estimate variance{0, 0};
};
Largest largest_term(const PairBudget& budget) {
  Largest largest{"Constant rest", budget.rest};
  for (const Term& term : terms()) {
    const Estimate both = sum_of(budget.channels[0].*term.of, budget.channels[1].*term.of);
    if (both.value > largest.variance.value) largest = {term.label, both};
  }
  return largest;
}

std::string answer_of(const BudgetPair& pair, const PairBudget& budget) {
  const Largest largest = largest_term(budget);
  std::string answer =
      fmt::format("{} − {} by {}: spread {}, bound {}. Largest term: {}, {} ({:.0f} % of the variance).",
                  pair.channels[0].name, pair.channels[1].name, pair.method,
                  format_estimate(budget.spread_s, "s"), format_quantity(budget.bound_s, "s", 3),
                  largest.label, format_estimate(signed_root(largest.variance), "s"),
                  100 * largest.variance.value / (budget.spread_s.value * budget.spread_s.value));
  const Prediction* best = nullptr;
  for (const Prediction& one : budget.predictions) {
    if (std::isfinite(one.spread_s) && (best == nullptr || one.spread_s < best->spread_s)) best = &one;
  }
  if (best == nullptr) return answer;
  // Less than the uncertainty of the spread is no help worth naming.
  if (best->spread_s > budget.spread_s.value - budget.spread_s.uncertainty)
    return answer + " None of the changes looked at would help.";
  return answer + fmt::format(" What helps most: {} (predicted spread {}).", best->change,
                              format_quantity(best->spread_s, "s", 3));
}

std::vector<std::string> warnings_of(const BudgetPair& pair, const PairBudget& budget) {
  std::vector<std::string> warnings;
  if (budget.rest.value < -2 * budget.rest.uncertainty)
    warnings.emplace_back(
        "the terms explain more than the measured spread, by more than two uncertainties: a term is counted "
        "twice (walk, where heights go together) or the noise was not the same in the pulses");
  if (budget.outliers > 0)
    warnings.push_back(fmt::format("{} of {} differences lie beyond 5 central half widths and were left out",
                                   budget.outliers, budget.pairs + budget.outliers));
  for (std::size_t c = 0; c < 2; ++c) {
    const ChannelBudget& channel = budget.channels[c];
    const std::string& name = pair.channels[c].name;
    if (!channel.rounding_holds)
      warnings.push_back(
          fmt::format("{}: the noise is below half a count, so rounding does not act as noise: "
                      "its term is for orientation only",
                      name));
    if (!channel.walk_known)
      warnings.push_back(fmt::format("{}: too few pairs to tell the walk left over", name));
    if (!channel.shape_known)
      warnings.push_back(fmt::format("{}: no template fit, so shape fluctuation is part of the rest", name));
  }
  return warnings;
}

}  // namespace

Result analyse_budget(const BudgetPair& pair, const BudgetOptions& options) {
  const PairBudget budget = pair_budget(pair, options);
  Result result{
      .kind = "jitter budget",
      .title = "What limits the time",
      .answer = answer_of(pair, budget),
      .figures = {},
      .tables = {terms_table(pair, budget), predictions_table(budget), law_table(budget.heights)},
      .plots = {},
      .warnings = warnings_of(pair, budget),
      .cautions = {"Shape fluctuation is taken as noise-like; a change common to a whole edge stays in "
                   "the constant rest.",
                   "The constant rest holds the sensors' own spread: no electronics makes it smaller."},
      .provenance = {}};
  result.figures = {{"spread", "Measured spread", budget.spread_s, "s"},
                    {"bound", "Cramér-Rao bound", {budget.bound_s, -1}, "s"},
                    {"rest", "Constant rest", signed_root(budget.rest), "s"},
                    {"pairs", "Pairs used", {static_cast<double>(budget.pairs), -1}, ""},
                    {"left_out", "Records left out", {static_cast<double>(pair.left_out), -1}, ""}};
  if (Plot plot = height_plot(budget.heights); !plot.series.empty()) result.plots.push_back(std::move(plot));
  return result;
}

}  // namespace firstedge
