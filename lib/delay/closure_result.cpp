// A closed network of differences as a Result.
#include "firstedge/delay/closure.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double doubtful = 3;         // normalised residual, and misclosure over its uncertainty
constexpr double coverage_factor = 2;  // of the bars

std::string row_words(const MeasuredDifference& row) {
  const std::string offset = row.offset.empty() ? "" : fmt::format(" + {}", row.offset);
  return fmt::format("{} − {}{}", row.first, row.second, offset);
}

Table values_table(const std::string& key, const std::string& title, const std::vector<std::string>& names,
                   const std::vector<Estimate>& values_s) {
  Table table{.key = key,
              .title = title,
              .note = "",
              .columns = {{"name", "Name", ""}, {"value", "Value", "s"}},
              .rows = {}};
  for (std::size_t i = 0; i < names.size(); ++i) table.rows.push_back({names[i], values_s[i]});
  return table;
}

Table loops_table(const std::vector<MeasuredDifference>& measured, const Closure& closure) {
  Table table{.key = "loops",
              .title = "Loops",
              .note = "What should be zero around each loop, and is not.",
              .columns = {{"closing", "Closed by", ""},
                          {"through", "Through", ""},
                          {"misclosure", "Misclosure", "s"},
                          {"ratio", "Over its uncertainty", ""}},
              .rows = {}};
  for (const Misclosure& loop : closure.loops) {
    std::string through;
    for (const std::size_t row : loop.through)
      through += (through.empty() ? "" : "; ") + row_words(measured[row]);
    table.rows.push_back({row_words(measured[loop.closing]), through, loop.misclosure_s,
                          loop.misclosure_s.value / loop.misclosure_s.uncertainty});
  }
  return table;
}

Table residuals_table(const std::vector<MeasuredDifference>& measured, const Closure& closure) {
  Table table{.key = "residuals",
              .title = "Measurements",
              .note =
                  "Residual: measured less adjusted; normalised: over its own standard deviation, a dash "
                  "where no other measurement checks this one.",
              .columns = {{"number", "Number", ""},
                          {"measurement", "Measurement", ""},
                          {"measured", "Measured", "s"},
                          {"residual", "Residual", "s"},
                          {"normalised", "Normalised", ""}},
              .rows = {}};
  for (std::size_t i = 0; i < measured.size(); ++i)
    table.rows.push_back({static_cast<double>(i + 1), row_words(measured[i]), measured[i].difference_s,
                          closure.residuals[i].residual_s, closure.residuals[i].normalised});
  return table;
}

// Each residual with twice its own standard deviation to either side, apart by whether that reaches 0.
Plot residuals_plot(const std::vector<MeasuredDifference>& measured, const Closure& closure) {
  Plot plot{.key = "residuals",
            .title = "What each measurement says beside the others",
            .caption =
                "Residual: measured less adjusted. Bars: two standard deviations of the residual (k = 2). "
                "Look for bars that do not reach 0: the measurement farthest from it in bars is the one to "
                "look at first. Where all close, one in twenty misses 0 by chance.",
            .x = {"Measurement", ""},
            .y = {"Residual", "s"},
            .series = {},
            .markers = {{0, false, ""}}};
  Series closing{.label = "closes (k = 2)", .kind = Series::Kind::points};
  Series off{.label = "does not close (k = 2)", .kind = Series::Kind::points};
  Series unchecked{.label = "nothing checks it", .kind = Series::Kind::points};
  for (std::size_t i = 0; i < measured.size(); ++i) {
    const ClosureResidual& residual = closure.residuals[i];
    const double number = static_cast<double>(i + 1);
    if (std::isnan(residual.normalised)) {
      unchecked.x.push_back(number);
      unchecked.y.push_back(0);
      continue;
    }
    Series& series = std::abs(residual.normalised) <= coverage_factor ? closing : off;
    series.x.push_back(number);
    series.y.push_back(residual.residual_s);
    series.y_low.push_back(residual.residual_s - coverage_factor * residual.deviation_s);
    series.y_high.push_back(residual.residual_s + coverage_factor * residual.deviation_s);
  }
  for (Series* series : {&closing, &off, &unchecked}) {
    if (!series->x.empty()) plot.series.push_back(std::move(*series));
  }
  return plot;
}

// The measurement with the largest normalised residual; past the end if none is checked.
std::size_t worst_of(const Closure& closure) {
  std::size_t worst = closure.residuals.size();
  double largest = 0;
  for (std::size_t i = 0; i < closure.residuals.size(); ++i) {
    const double size = std::abs(closure.residuals[i].normalised);
    if (size > largest) {
      largest = size;
      worst = i;
    }
  }
  return worst;
}

}  // namespace

Result analyse_closure(const std::vector<MeasuredDifference>& measured, const std::string& reference) {
  const Closure closure = close_network(measured, reference);
  const bool checked = closure.degrees_of_freedom > 0;
  const bool agrees = closure.probability >= 0.05;
  Result result{
      .kind = "closure",
      .title = "Differences closed",
      .answer = checked
                    ? fmt::format("{} measurements of {} things {}: chi-square {:.3g} for {} degree{} of "
                                  "freedom (probability {:.2g}).",
                                  measured.size(), closure.names.size(), agrees ? "close" : "do not close",
                                  closure.chi_square, closure.degrees_of_freedom,
                                  closure.degrees_of_freedom == 1 ? "" : "s", closure.probability)
                    : fmt::format("{} measurements of {} things, none of which checks another.",
                                  measured.size(), closure.names.size()),
      .figures = {{"chi_square", "Chi-square", {closure.chi_square, -1}, ""},
                  {"degrees_of_freedom", "Degrees of freedom", {closure.degrees_of_freedom, -1}, ""},
                  {"probability", "Probability of chi-square", {closure.probability, -1}, ""}},
      .tables = {values_table("values", "Values against the reference", closure.names, closure.values_s)},
      .plots = {},
      .warnings = {},
      .cautions = {"Measurements are taken as independent: what they share is neither found nor in the "
                   "uncertainties."},
      .provenance = {}};
  if (!closure.offsets.empty())
    result.tables.push_back(
        values_table("offsets", "Offsets that drop out", closure.offsets, closure.offset_values_s));
  if (!closure.loops.empty()) result.tables.push_back(loops_table(measured, closure));
  result.tables.push_back(residuals_table(measured, closure));
  if (checked) result.plots = {residuals_plot(measured, closure)};
  const std::size_t worst = worst_of(closure);
  if (worst < measured.size() && std::abs(closure.residuals[worst].normalised) > doubtful)
    result.warnings.push_back(
        fmt::format("look first at {}: it lies {:.2g} standard deviations from what the others say",
                    row_words(measured[worst]), std::abs(closure.residuals[worst].normalised)));
  if (checked && !agrees)
    result.warnings.emplace_back(
        "the differences contradict each other by more than their uncertainties: the "
        "uncertainties of the values are too small");
  return result;
}

}  // namespace firstedge
