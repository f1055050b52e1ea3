#include "firstedge/stats/power_law_noise.hpp"

#include "firstedge/stats/stability.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>
#include <vector>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

std::vector<double> every(std::span<const double> x, std::size_t m) {
  std::vector<double> taken;
  for (std::size_t i = 0; i < x.size(); i += m) taken.push_back(x[i]);
  return taken;
}

// Means of whole groups of m points, over those that are there; a group with fewer than half is a gap.
std::vector<double> averaged(std::span<const double> x, std::size_t m) {
  std::vector<double> means;
  for (std::size_t first = 0; first + m <= x.size(); first += m) {
    double sum = 0;
    std::size_t count = 0;
    for (const double value : x.subspan(first, m)) {
      if (!std::isfinite(value)) continue;
      sum += value - x[0];
      ++count;
    }
    means.push_back(2 * count >= m ? sum / static_cast<double>(count) : nan);
  }
  return means;
}

// Takes away the least-squares parabola: polynomials made orthogonal over the points that are there.
void take_quadratic_away(std::vector<double>& z) {
  std::vector<std::vector<double>> columns;
  const double middle = 0.5 * static_cast<double>(z.size() - 1);
  for (int power = 0; power <= 2; ++power) {
    std::vector<double> column;
    for (std::size_t i = 0; i < z.size(); ++i)
      column.push_back(std::isfinite(z[i]) ? std::pow((static_cast<double>(i) - middle) / middle, power) : 0);
    const auto take_away = [&](std::vector<double>& from, const std::vector<double>& what) {
      double product = 0;
      double norm = 0;
      for (std::size_t i = 0; i < z.size(); ++i) {
        if (what[i] == 0) continue;  // a gap, where `from` may be NaN
        product += from[i] * what[i];
        norm += what[i] * what[i];
      }
      if (norm == 0) return;
      for (std::size_t i = 0; i < z.size(); ++i) from[i] -= product / norm * what[i];
    };
    for (const std::vector<double>& before : columns) take_away(column, before);
    take_away(z, column);
    columns.push_back(std::move(column));
  }
}

struct LagOne {
  double correlation = nan;
  std::size_t points = 0;
};

// r1 = sum of products of neighbours over the sum of squares, about the mean; for gaps, means of each.
LagOne lag_one(const std::vector<double>& z) {
  LagOne found;
  double sum = 0;
  for (const double value : z) {
    if (!std::isfinite(value)) continue;
    sum += value;
    ++found.points;
  }
  const double mean = sum / static_cast<double>(found.points);
  double squares = 0;
  double products = 0;
  std::size_t neighbours = 0;
  std::size_t places = 0;
  for (std::size_t i = 0; i < z.size(); ++i) {
    if (std::isfinite(z[i])) squares += (z[i] - mean) * (z[i] - mean);
    if (i == 0) continue;
    ++places;
    if (!std::isfinite(z[i]) || !std::isfinite(z[i - 1])) continue;
    products += (z[i] - mean) * (z[i - 1] - mean);
    ++neighbours;
  }
  // Without gaps the scale is 1: the plain ratio of the sums.
  const double scale = static_cast<double>(places) / static_cast<double>(neighbours) *
                       static_cast<double>(found.points) / static_cast<double>(z.size());
  if (neighbours > 0 && squares > 0) found.correlation = products / squares * scale;
  return found;
}

void difference(std::vector<double>& z) {
  for (std::size_t i = 0; i + 1 < z.size(); ++i) z[i] = z[i + 1] - z[i];
  z.pop_back();
}

}  // namespace

std::string_view words_of(PowerLaw noise) {
  constexpr std::array<std::string_view, 7> words{
      "random run frequency noise", "flicker walk frequency noise", "random walk frequency noise",
      "flicker frequency noise",    "white frequency noise",        "flicker phase noise",
      "white phase noise"};
  const int place = static_cast<int>(noise) + 4;
  return words.at(static_cast<std::size_t>(place));
}

std::optional<PowerLawFound> power_law_noise(std::span<const double> phase_s, std::size_t factor,
                                             const PowerLawOptions& options) {
  assert(factor > 0 && options.most_differences >= 2 && options.most_differences <= 3);
  const std::span<const double> x = without_outer_gaps(phase_s);
  std::vector<double> z = options.averaged ? averaged(x, factor) : every(x, factor);
  if (z.size() < fewest_for_power_law) return std::nullopt;
  take_quadratic_away(z);
  for (int d = 0;; ++d) {
    const LagOne found = lag_one(z);
    const bool enough = found.points + static_cast<std::size_t>(d) >= fewest_for_power_law;
    if (!enough || std::isnan(found.correlation)) return std::nullopt;
    constexpr double stationary = 0.25;
    const double delta = found.correlation / (1 + found.correlation);
    if (delta >= stationary && d < options.most_differences) {
      difference(z);
      continue;
    }
    const double exponent = 2 - 2 * (delta + d);
    const double lowest = 2 - 2 * options.most_differences;
    return PowerLawFound{static_cast<PowerLaw>(std::lround(std::clamp(exponent, lowest, 2.0))), exponent};
  }
}

}  // namespace firstedge
