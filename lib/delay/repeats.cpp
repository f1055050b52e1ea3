#include "firstedge/delay/repeats.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_repeats = 1'000'000;

void check(const std::vector<Repeat>& repeats, const RepeatsOptions& options) {
  if (repeats.size() < 3 || repeats.size() > most_repeats)
    throw Error("repeats", fmt::format("are {}", repeats.size()), fmt::format("give 3 to {}", most_repeats));
  if (!(options.outlier_deviations >= 2))
    throw Error("outlier limit", fmt::format("is {}", options.outlier_deviations), "give 2 or more");
  std::size_t with_temperature = 0;
  for (std::size_t i = 0; i < repeats.size(); ++i) {
    if (!std::isfinite(repeats[i].value_s))
      throw Error(fmt::format("repeats, row {}", i + 1), "has no value", "give one, or leave the row out");
    with_temperature += std::isfinite(repeats[i].temperature_c) ? 1 : 0;
  }
  if (with_temperature != 0 && with_temperature != repeats.size())
    throw Error("repeats", "have a temperature in some rows only", "note it in all, or in none");
}

// value = at_reference + slope (temperature - middle); slope 0 without temperatures.
struct Line {
  double middle_c = 0, level_s = 0, slope = 0;
  double squares_c2 = 0;   // of the temperatures about the middle
  double deviation_s = 0;  // of one measurement
  double count = 0, freedom = 0;

  double residual_s(const Repeat& repeat) const {
    return repeat.value_s - level_s - (slope == 0 ? 0 : slope * (repeat.temperature_c - middle_c));
  }
};

Line line_through(const std::vector<Repeat>& repeats, const std::vector<bool>& outlier, bool sloped) {
  Line line;
  const auto over_kept = [&](auto&& term) {
    double sum = 0;
    for (std::size_t i = 0; i < repeats.size(); ++i) sum += outlier[i] ? 0 : term(repeats[i]);
    return sum;
  };
  line.count = over_kept([](const Repeat&) { return 1.0; });
  const double origin_s = repeats.front().value_s;  // so that a large common delay costs no digits
  line.level_s = origin_s + over_kept([&](const Repeat& r) { return r.value_s - origin_s; }) / line.count;
  if (sloped) {
    line.middle_c = over_kept([](const Repeat& r) { return r.temperature_c; }) / line.count;
    line.squares_c2 =
        over_kept([&](const Repeat& r) { return std::pow(r.temperature_c - line.middle_c, 2); });
    if (line.squares_c2 > 0)
      line.slope = over_kept([&](const Repeat& r) {
                     return (r.temperature_c - line.middle_c) * (r.value_s - line.level_s);
                   }) /
                   line.squares_c2;
  }
  line.freedom = line.count - (sloped ? 2 : 1);
  const double left = over_kept([&](const Repeat& r) { return std::pow(line.residual_s(r), 2); });
  line.deviation_s = line.freedom > 0 ? std::sqrt(left / line.freedom) : std::nan("");
  return line;
}

std::vector<double> residuals_of(const std::vector<Repeat>& repeats, const Line& line) {
  std::vector<double> residuals;
  for (const Repeat& repeat : repeats) residuals.push_back(line.residual_s(repeat));
  return residuals;
}

struct Kept {
  Line line;
  std::vector<bool> outlier;
};

// Outliers of the residuals, and the line without them, until no further one is added; half must stay.
Kept without_outliers(const std::vector<Repeat>& repeats, bool sloped, double deviations) {
  Kept kept{.line = {}, .outlier = std::vector<bool>(repeats.size(), false)};
  constexpr int most_rounds = 20;
  for (int round = 0; round < most_rounds; ++round) {
    kept.line = line_through(repeats, kept.outlier, sloped);
    const std::vector<double> residuals = residuals_of(repeats, kept.line);
    const double middle = median(residuals), spread = scaled_median_deviation(residuals);
    std::vector<bool> outlier(repeats.size());
    for (std::size_t i = 0; i < repeats.size(); ++i)
      outlier[i] = spread > 0 && std::abs(residuals[i] - middle) > deviations * spread;
    if (outlier == kept.outlier) break;
    kept.outlier = std::move(outlier);
  }
  kept.line = line_through(repeats, kept.outlier, sloped);
  return kept;
}

// What was fitted, over the measurements: the line against temperature, or the mean.
Series fitted_line(const Repeats& found, const std::vector<double>& x) {
  const auto [first, last] = std::minmax_element(x.begin(), x.end());
  Series line{.label = found.temperature_known ? "line fitted" : "mean", .x = {*first, *last}, .y = {}};
  for (const double at : line.x) {
    const double away_c = found.temperature_known ? at - found.reference_c : 0;
    line.y.push_back(found.delay_s.value + found.coefficient_s_per_k.value * away_c);
  }
  return line;
}

}  // namespace

Repeats summarise_repeats(const std::vector<Repeat>& repeats, const RepeatsOptions& options) {
  check(repeats, options);
  const auto [coldest, warmest] =
      std::minmax_element(repeats.begin(), repeats.end(),
                          [](const Repeat& a, const Repeat& b) { return a.temperature_c < b.temperature_c; });
  constexpr double least_range_c = 1e-6;
  const bool sloped = repeats.size() > 3 && warmest->temperature_c - coldest->temperature_c > least_range_c;
  const Kept kept = without_outliers(repeats, sloped, options.outlier_deviations);
  const Line& line = kept.line;

  Repeats found{
      .temperature_known = sloped, .outlier = kept.outlier, .residual_s = residuals_of(repeats, line)};
  std::vector<double> values;
  for (const Repeat& repeat : repeats) values.push_back(repeat.value_s);
  found.mean_with_outliers_s = moments(values).mean;
  found.mean_with_outliers_s.degrees_of_freedom = static_cast<double>(values.size()) - 1;
  found.spread_s = {line.deviation_s, line.deviation_s / std::sqrt(2 * line.freedom), line.freedom};
  found.reference_c = options.reference_c.value_or(line.middle_c);
  const double away_c = sloped ? found.reference_c - line.middle_c : 0;
  const double per_square = sloped ? away_c * away_c / line.squares_c2 : 0;
  found.delay_s = {line.level_s + line.slope * away_c,
                   line.deviation_s * std::sqrt(1 / line.count + per_square), line.freedom};
  if (!sloped) return found;
  found.coefficient_s_per_k = {line.slope, line.deviation_s / std::sqrt(line.squares_c2), line.freedom};
  // The delay's own uncertainty is parts in a thousand of it at most: it does not show in the coefficient.
  const double ppm_per_s = 1e6 / std::abs(found.delay_s.value);
  found.coefficient_ppm_per_k = {line.slope * ppm_per_s, found.coefficient_s_per_k.uncertainty * ppm_per_s,
                                 line.freedom};
  found.temperature_part_s = std::abs(line.slope) * options.temperature_uncertainty_c;
  return found;
}

Result analyse_repeats(const std::vector<Repeat>& repeats, const RepeatsOptions& options) {
  const Repeats found = summarise_repeats(repeats, options);
  const auto outliers = std::count(found.outlier.begin(), found.outlier.end(), true);
  const auto plain = [](double value) { return Estimate{value, -1}; };
  Result result{
      .kind = "repeated delays",
      .title = "Repeated measurements of a delay",
      .answer = fmt::format("Delay {} from {} measurements", format_estimate(found.delay_s, "s"),
                            repeats.size() - static_cast<std::size_t>(outliers)),
      .figures = {{"delay", "Delay", found.delay_s, "s"},
                  {"spread", "Spread of one measurement", found.spread_s, "s"},
                  {"plain_mean", "Plain mean of all", found.mean_with_outliers_s, "s"},
                  {"outliers", "Outliers", plain(static_cast<double>(outliers)), ""}},
      .tables = {},
      .plots = {},
      .warnings = {},
      .cautions = {"A mean says nothing of what was the same in all measurements: cables, connectors, "
                   "the instrument."},
      .provenance = {}};
  if (found.temperature_known) {
    result.answer += fmt::format(" at {:.2f} °C, temperature coefficient {}", found.reference_c,
                                 format_estimate(found.coefficient_ppm_per_k, "ppm/K"));
    result.figures.push_back(
        {"coefficient", "Temperature coefficient", found.coefficient_ppm_per_k, "ppm/K"});
    result.figures.push_back(
        {"coefficient_s_per_k", "Change of the delay with temperature", found.coefficient_s_per_k, "s/K"});
    result.figures.push_back(
        {"temperature_part", "Uncertainty from temperature", plain(found.temperature_part_s), "s"});
  }
  result.answer += ".";
  Table table{.key = "measurements",
              .title = "Measurements",
              .note = "Residual: from the mean, or from the line against temperature.",
              .columns = {{"value", "Delay", "s"},
                          {"temperature", "Temperature", "°C"},
                          {"residual", "Residual", "s"},
                          {"remark", "Remark", ""}},
              .rows = {}};
  Series kept{.label = "measured", .kind = Series::Kind::points, .x = {}, .y = {}, .y_uncertainty = {}};
  Series out{.label = "outliers", .kind = Series::Kind::points, .x = {}, .y = {}, .y_uncertainty = {}};
  constexpr std::size_t most_rows = 1000;
  for (std::size_t i = 0; i < repeats.size() && i < most_rows; ++i) {
    const double x = found.temperature_known ? repeats[i].temperature_c : static_cast<double>(i + 1);
    Series& series = found.outlier[i] ? out : kept;
    series.x.push_back(x);
    series.y.push_back(repeats[i].value_s);
    table.rows.push_back({repeats[i].value_s, repeats[i].temperature_c, found.residual_s[i],
                          std::string(found.outlier[i] ? "outlier, left out" : "")});
  }
  if (repeats.size() > most_rows) table.note += fmt::format(" The first {} are shown.", most_rows);
  result.tables = {std::move(table)};
  std::vector<double> measured = kept.x;
  measured.insert(measured.end(), out.x.begin(), out.x.end());
  Series line = fitted_line(found, measured);
  Plot plot{.key = "measurements",
            .title = found.temperature_known ? "Delay against temperature" : "Delay in order of measuring",
            .caption = found.temperature_known
                           ? "Look for points evenly to both sides of the line. A bend, or a loop from "
                             "warming to cooling, is not "
                             "in the coefficient; a point far off is a bad connection or a slip."
                           : "Look for points evenly to both sides of the mean. A slope is a drift, most "
                             "often of temperature; a "
                             "point far off is a bad connection or a slip.",
            .x = found.temperature_known ? Plot::Axis{"Temperature", "°C"} : Plot::Axis{"Measurement", ""},
            .y = {"Delay", "s"},
            .series = {std::move(kept)},
            .markers = {}};
  if (!out.x.empty()) plot.series.push_back(std::move(out));
  plot.series.push_back(std::move(line));
  result.plots = {std::move(plot)};
  if (outliers > 0)
    result.warnings.push_back(
        fmt::format("{} of {} measurements lie beyond {:.3g} robust standard deviations "
                    "and were left out; with them the mean is {}",
                    outliers, repeats.size(), options.outlier_deviations,
                    format_estimate(found.mean_with_outliers_s, "s")));
  return result;
}

}  // namespace firstedge
