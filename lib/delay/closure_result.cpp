// A closed network of differences as a Result.
#include "firstedge/delay/closure.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double doubtful = 3;  // normalised residual, and misclosure over its uncertainty

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
              .columns = {{"measurement", "Measurement", ""},
                          {"measured", "Measured", "s"},
                          {"residual", "Residual", "s"},
                          {"normalised", "Normalised", ""}},
              .rows = {}};
  for (std::size_t i = 0; i < measured.size(); ++i)
    table.rows.push_back({row_words(measured[i]), measured[i].difference_s, closure.residuals[i].residual_s,
                          closure.residuals[i].normalised});
  return table;
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
