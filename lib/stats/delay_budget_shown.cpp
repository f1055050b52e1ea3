#include "firstedge/stats/delay_budget.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t bins_drawn = 60;
constexpr std::size_t points_of_curve = 121;

double finite_or_nan(double number) {
  return std::isfinite(number) ? number : std::numeric_limits<double>::quiet_NaN();
}

}  // namespace

std::string remeasure_first(const DelayBudget& budget) {
  if (budget.rows.empty() || !(budget.total_s.uncertainty > 0)) return "";
  const DelayBudgetRow& first = budget.rows.front();
  return fmt::format(
      "{}: measure '{}' again first ({:.0f} % of the variance; known exactly, {} would become {}).",
      budget.name, first.term.name, 100 * first.share, format_quantity(budget.total_s.uncertainty, "s", 3),
      format_quantity(first.known_exactly_s, "s", 3));
}

Table budget_table(const DelayBudget& budget, const std::string& key) {
  Table table{
      .key = key,
      .title = "Budget: " + budget.name,
      .note = fmt::format("{} Contributions are standard uncertainties; a share of 0 beside an uncertainty "
                          "means that the term cancels.",
                          remeasure_first(budget)),
      .columns = {{"term", "Element or quantity", ""},
                  {"value", "Value", ""},
                  {"type", "Type", ""},
                  {"distribution", "Distribution", ""},
                  {"degrees_of_freedom", "Degrees of freedom", ""},
                  {"contribution", "Contribution", "s"},
                  {"share", "Share of variance", "%"},
                  {"known_exactly", "Total if known exactly", "s"},
                  {"measured", "Measured", ""}},
      .rows = {}};
  for (const DelayBudgetRow& row : budget.rows) {
    const DelayTerm& term = row.term;
    table.rows.push_back({term.name, format_estimate(term.input, term.unit),
                          std::string(term.evaluation == Evaluation::type_a ? "A" : "B"),
                          std::string(to_text(term.distribution)),
                          finite_or_nan(term.input.degrees_of_freedom), row.contribution_s, 100 * row.share,
                          row.known_exactly_s, term.measured});
  }
  return table;
}

Table totals_table(std::span<const DelayBudget> budgets) {
  Table table{.key = "totals",
              .title = "Delays and their uncertainty",
              .note =
                  "k = 1: combined standard uncertainty (JCGM 100). Expanded: 95.45 %, with the factor of "
                  "Student's t at the effective degrees of freedom (- : infinite). Drawn: the same by Monte "
                  "Carlo (JCGM 101).",
              .columns = {{"name", "Of", ""},
                          {"delay", "Delay", "s"},
                          {"k1", "k = 1", "s"},
                          {"k2", "k = 2", "s"},
                          {"degrees_of_freedom", "Effective degrees of freedom", ""},
                          {"expanded", "Expanded, 95.45 %", "s"},
                          {"drawn", "Drawn: standard uncertainty", "s"},
                          {"low", "95.45 % from", "s"},
                          {"high", "to", "s"}},
              .rows = {}};
  for (const DelayBudget& one : budgets)
    table.rows.push_back({one.name, one.total_s.value, one.total_s.uncertainty, 2 * one.total_s.uncertainty,
                          finite_or_nan(one.total_s.degrees_of_freedom), one.expanded_s, one.drawn.deviation,
                          one.drawn.symmetric.low, one.drawn.symmetric.high});
  return table;
}

Plot drawn_plot(const DelayBudget& budget, const std::string& key) {
  Plot plot{.key = key,
            .title = "Drawn values against the law of propagation: " + budget.name,
            .caption =
                "Density of the Monte Carlo draws about the delay, and the normal density of the law of "
                "propagation. Where they part, take the drawn interval.",
            .x = {"Deviation from the delay", "s"},
            .y = {"Density", "1/s"},
            .series = {},
            .markers = {}};
  const double u = budget.total_s.uncertainty;
  const std::vector<double>& draws = budget.drawn.sorted;
  if (!(u > 0) || draws.size() < bins_drawn) return plot;
  const double middle = budget.total_s.value, half = 4 * u, width = 2 * half / bins_drawn;
  Series drawn{.label = "drawn", .kind = Series::Kind::steps, .x = {}, .y = {}};
  for (std::size_t i = 0; i < bins_drawn; ++i) {
    const double low = middle - half + static_cast<double>(i) * width;
    const auto inside = std::lower_bound(draws.begin(), draws.end(), low + width) -
                        std::lower_bound(draws.begin(), draws.end(), low);
    drawn.x.push_back(low + width / 2 - middle);
    drawn.y.push_back(static_cast<double>(inside) / static_cast<double>(draws.size()) / width);
  }
  Series law{.label = "law of propagation", .kind = Series::Kind::line, .x = {}, .y = {}};
  for (std::size_t i = 0; i < points_of_curve; ++i) {
    const double beyond = half * (2 * static_cast<double>(i) / (points_of_curve - 1) - 1);
    law.x.push_back(beyond);
    law.y.push_back(normal_density(beyond / u) / u);
  }
  plot.series = {std::move(drawn), std::move(law)};
  return plot;
}

}  // namespace firstedge
