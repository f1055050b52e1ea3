#include "firstedge/compare/scan.hpp"

#include "firstedge/compare/paired_spread.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace firstedge {
namespace {

// The lowest point of the parabola through three points, of which the middle one is lowest.
double lowest_of_parabola(const double* x, const double* y) {
  const double left = x[1] - x[0], right = x[2] - x[1];
  const double rise_left = (y[0] - y[1]) / left, rise_right = (y[2] - y[1]) / right;
  const double curvature = (rise_left + rise_right) / (left + right);
  if (!(curvature > 0)) return x[1];
  // The slope at the middle point, by the parabola.
  const double slope = (rise_right * left - rise_left * right) / (left + right);
  return std::clamp(x[1] - 0.5 * slope / curvature, x[0], x[2]);
}

double optimum_of(const std::vector<double>& settings, const std::vector<double>& spreads) {
  const auto best =
      static_cast<std::size_t>(std::min_element(spreads.begin(), spreads.end()) - spreads.begin());
  if (best == 0 || best + 1 == settings.size()) return settings[best];
  return lowest_of_parabola(&settings[best - 1], &spreads[best - 1]);
}

// Where the straight line from (inside, below) to (outside, above) meets the limit.
double meeting(double inside, double below, double outside, double above, double limit) {
  return inside + (outside - inside) * (limit - below) / (above - below);
}

void give_flatness(Scan& scan, double near_best) {
  const auto spread = [&](std::size_t i) { return scan.spread_s[i].value; };
  const double limit = (1 + near_best) * spread(scan.best);
  std::size_t low = scan.best, high = scan.best;
  while (low > 0 && spread(low - 1) <= limit) --low;
  while (high + 1 < scan.setting.size() && spread(high + 1) <= limit) ++high;
  scan.flat_from =
      low == 0 ? scan.setting[0]
               : meeting(scan.setting[low], spread(low), scan.setting[low - 1], spread(low - 1), limit);
  scan.flat_to = high + 1 == scan.setting.size() ? scan.setting[high]
                                                 : meeting(scan.setting[high], spread(high),
                                                           scan.setting[high + 1], spread(high + 1), limit);
}

std::vector<std::size_t> rising(const std::vector<double>& settings) {
  std::vector<std::size_t> order(settings.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(),
            [&](std::size_t a, std::size_t b) { return settings[a] < settings[b]; });
  return order;
}

}  // namespace

Scan scan_of(const std::vector<double>& settings, const std::vector<std::vector<double>>& columns,
             double near_best, const BootstrapOptions& options) {
  if (settings.empty() || settings.size() != columns.size())
    throw Error("scan", "settings and columns do not fit", "give one column of differences a setting");
  Scan scan;
  std::vector<RankedColumn> ranked;
  for (const std::size_t i : rising(settings)) {
    if (!std::isfinite(settings[i]) || (!scan.setting.empty() && settings[i] == scan.setting.back()))
      throw Error("scan", "a setting is there twice or is not finite", "give different settings");
    if (columns[i].size() != columns.front().size() || columns[i].empty())
      throw Error("scan", "the columns differ in length or are empty", "give every setting the same records");
    scan.setting.push_back(settings[i]);
    ranked.emplace_back(columns[i]);
  }
  std::vector<std::uint32_t> scratch;
  const Bootstrap drawn = bootstrap(
      columns.front().size(),
      [&](std::span<const std::uint32_t> multiplicity) {
        std::vector<double> figures;
        for (const RankedColumn& column : ranked) figures.push_back(column.half_width(multiplicity, scratch));
        figures.push_back(optimum_of(scan.setting, figures));
        return figures;
      },
      options);
  const auto freedom = static_cast<double>(columns.front().size() - 1);
  for (std::size_t i = 0; i < scan.setting.size(); ++i)
    scan.spread_s.push_back({drawn.figures[i].value, drawn.figures[i].standard_error, freedom});
  const Bootstrapped& optimum = drawn.figures.back();
  scan.optimum = {optimum.value, optimum.standard_error, freedom};
  scan.optimum_interval = optimum.percentile;
  for (std::size_t i = 1; i < scan.setting.size(); ++i) {
    if (scan.spread_s[i].value < scan.spread_s[scan.best].value) scan.best = i;
  }
  scan.at_end = scan.best == 0 || scan.best + 1 == scan.setting.size();
  give_flatness(scan, near_best);
  return scan;
}

}  // namespace firstedge
