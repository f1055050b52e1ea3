// The plots of a jitter result.
#include "firstedge/jitter/jitter_tables.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Points of a smooth curve; enough for a line without corners at page size.
constexpr std::size_t curve_points = 200;
// Points of a plot that shows single pairs.
constexpr std::size_t most_points = 1000;

Series curve(std::string label, double low, double high, const auto& function) {
  Series line{.label = std::move(label), .kind = Series::Kind::line};
  for (std::size_t i = 0; i <= curve_points; ++i) {
    const double x = std::lerp(low, high, static_cast<double>(i) / curve_points);
    line.x.push_back(x);
    line.y.push_back(function(x));
  }
  return line;
}

Series bars_of(std::string label, const Histogram& counts) {
  return {.label = std::move(label),
          .kind = Series::Kind::bars,
          .x = counts.middles(),
          .y = counts.heights(),
          .y_uncertainty = counts.height_uncertainties()};
}

std::string key_of(const char* what, std::size_t number) {
  return fmt::format("{}_{}", what, number);
}

// The range that a histogram of differences shows: wide enough for the tails, narrow enough for the core.
BinOptions shown_range(BinOptions bins, const PairFigures& found, std::span<const double> values) {
  constexpr double reach = 8;
  const auto [lowest, highest] = std::minmax_element(values.begin(), values.end());
  if (!(found.half_width.value > 0)) return bins;
  if (!bins.low) bins.low = std::max(*lowest, found.median.value - reach * found.half_width.value);
  if (!bins.high) bins.high = std::min(*highest, found.median.value + reach * found.half_width.value);
  return bins;
}

}  // namespace

Plot difference_plot(const JudgedPair& pair, const BinOptions& bins, std::size_t number) {
  const PairFigures& found = pair.figures;
  const Histogram counts =
      histogram(pair.sample.difference_s, shown_range(bins, found, pair.sample.difference_s));
  Plot plot{
      .key = key_of("differences", number),
      .title = "Time differences " + pair.sample.name,
      .caption = fmt::format("Look for: bars beside the curve at the foot (tails), two peaks, a lean to "
                             "one side. {} pairs lie below and {} above the range shown.",
                             counts.below, counts.above),
      .x = {"Time difference " + pair.sample.name, "s"},
      .y = {"Pairs in a bin", ""}};
  plot.series.push_back(bars_of("pairs", counts));
  const double area = static_cast<double>(found.pairs) * counts.width(0);
  const auto normal = [](double x, double centre, double width) {
    return normal_density((x - centre) / width) / width;
  };
  if (found.core.usable()) {
    const GaussianCore& core = found.core;
    plot.series.push_back(curve("Gaussian core", counts.edges.front(), counts.edges.back(), [&](double x) {
      return area * core.fraction.value * normal(x, core.centre.value, core.width.value);
    }));
    plot.markers.push_back({core.window_low, true, "core window"});
    plot.markers.push_back({core.window_high, true, ""});
  }
  if (found.bound_s > 0)
    plot.series.push_back(curve("Cramér-Rao bound", counts.edges.front(), counts.edges.back(), [&](double x) {
      return area * normal(x, found.median.value, found.bound_s);
    }));
  return plot;
}

Plot normal_plot(const JudgedPair& pair, std::size_t number) {
  const PairFigures& found = pair.figures;
  const std::vector<double> sorted = finite_sorted(pair.sample.difference_s);
  Plot plot{.key = key_of("normality", number),
            .title = "Differences against normal quantiles, " + pair.sample.name,
            .caption =
                "Look for: points on the line are normal; a bend outwards at the ends is a tail, a "
                "step is a second population.",
            .x = {"Normal quantile", ""},
            .y = {"Time difference " + pair.sample.name, "s"}};
  Series points{.label = "pairs", .kind = Series::Kind::points};
  const std::size_t shown = std::min(most_points, sorted.size());
  for (std::size_t i = 0; i < shown; ++i) {
    const double p = (static_cast<double>(i) + 0.5) / static_cast<double>(shown);
    points.x.push_back(normal_quantile(p));
    points.y.push_back(quantile_of_sorted(sorted, p));
  }
  const double reach = points.x.empty() ? 3 : points.x.back();
  plot.series.push_back(std::move(points));
  if (found.core.usable())
    plot.series.push_back(curve("Gaussian core", -reach, reach, [&](double x) {
      return found.core.centre.value + x * found.core.width.value;
    }));
  return plot;
}

Plot height_plot(const JudgedPair& pair, std::size_t number) {
  const HeightDependence& law = pair.heights;
  Plot plot{.key = key_of("jitter_against_height", number),
            .title = "Jitter against height, " + pair.sample.name,
            .caption =
                "Look for: a fall as 1/height where noise rules, a floor where it does not; points "
                "above the bound at all heights point at the method, only at great heights at the "
                "sampling or the clock.",
            .x = {"Lower height of the pair", "V", true},
            .y = {"Central half width", "s", true}};
  Series spread{.label = "measured", .kind = Series::Kind::points};
  Series bound{.label = "Cramér-Rao bound", .kind = Series::Kind::line};
  for (const HeightBin& bin : law.bins) {
    spread.x.push_back(bin.effective_height_v());
    spread.y.push_back(bin.spread_s.value);
    spread.y_uncertainty.push_back(bin.spread_s.uncertainty);
    bound.x.push_back(bin.effective_height_v());
    bound.y.push_back(bin.bound_s);
  }
  if (std::isfinite(law.a_squared_v2_s2.value))
    plot.series.push_back(curve("(a/height)² + b²", spread.x.front(), spread.x.back(),
                                [&](double height) { return law.sigma_s(height); }));
  plot.series.push_back(std::move(spread));
  if (std::any_of(bound.y.begin(), bound.y.end(), [](double y) { return std::isfinite(y); }))
    plot.series.push_back(std::move(bound));
  return plot;
}

Plot walk_plot(const JudgedPair& pair, std::size_t number) {
  Plot plot{.key = key_of("walk", number),
            .title = "Walk: median difference against height, " + pair.sample.name,
            .caption =
                "Look for: a flat line. A slope is time that the method mistakes for height; it widens "
                "the spread of all heights together.",
            .x = {"Mean of the lower height", "V", true},
            .y = {"Median difference " + pair.sample.name, "s"}};
  Series median{.label = "median", .kind = Series::Kind::points};
  for (const HeightBin& bin : pair.heights.bins) {
    median.x.push_back(bin.height_v.value);
    median.y.push_back(bin.median_s.value);
    median.y_uncertainty.push_back(bin.median_s.uncertainty);
  }
  plot.series.push_back(std::move(median));
  return plot;
}

Plot pull_plot(const JudgedPair& pair, std::size_t number) {
  const std::vector<double> pulls = standardised(pair.sample, pair.sample.stated_s);
  const Histogram counts = histogram(pulls, even_edges(-5, 5, 40));
  Plot plot{.key = key_of("pulls", number),
            .title = "Pulls: differences over their stated uncertainty, " + pair.sample.name,
            .caption = fmt::format("Look for: bars wider than the curve (uncertainties stated too small), "
                                   "narrower (too large). {} pairs lie outside the range shown.",
                                   counts.below + counts.above),
            .x = {"(Difference − median) over stated uncertainty", ""},
            .y = {"Pairs in a bin", ""}};
  plot.series.push_back(bars_of("pairs", counts));
  const double area = static_cast<double>(pulls.size()) * counts.width(0);
  plot.series.push_back(
      curve("normal, width 1", -5, 5, [area](double x) { return area * normal_density(x); }));
  return plot;
}

Plot drift_plot(const JudgedPair& pair, std::size_t number) {
  constexpr std::size_t groups = 60;
  constexpr std::size_t fewest_in_group = 20;
  const PairSample& sample = pair.sample;
  const std::size_t count = std::clamp<std::size_t>(sample.size() / fewest_in_group, 1, groups);
  Plot plot{.key = key_of("drift", number),
            .title = "Median difference along the run, " + sample.name,
            .caption =
                "Look for: a flat line within its bars. A course is a delay that drifts (temperature, "
                "settings changed); a step is something that was touched.",
            .x = {"Record", ""},
            .y = {"Median difference " + sample.name, "s"}};
  Series median_line{.label = "median of neighbouring records", .kind = Series::Kind::points};
  for (std::size_t group = 0; group < count; ++group) {
    const std::size_t begin = group * sample.size() / count;
    const std::size_t end = (group + 1) * sample.size() / count;
    const std::vector<double> sorted =
        finite_sorted(std::span(sample.difference_s).subspan(begin, end - begin));
    median_line.x.push_back(
        0.5 * (static_cast<double>(sample.record[begin]) + static_cast<double>(sample.record[end - 1])));
    median_line.y.push_back(quantile_of_sorted(sorted, 0.5));
    // Of a normal sample: sqrt(pi/2) standard errors of the mean.
    median_line.y_uncertainty.push_back(1.2533 * central_half_width_of_sorted(sorted) /
                                        std::sqrt(static_cast<double>(sorted.size())));
  }
  plot.series.push_back(std::move(median_line));
  return plot;
}

}  // namespace firstedge
