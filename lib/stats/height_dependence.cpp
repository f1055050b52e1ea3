#include "firstedge/stats/height_dependence.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/least_squares.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numeric>
#include <span>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double lower_tail = 0.5 * (1 - share_within_one_sigma);

HeightBin bin_of(const DifferencesByHeight& sample, std::span<const std::size_t> rows,
                 const BootstrapOptions& options) {
  HeightBin bin;
  std::vector<double> heights;
  std::vector<double> sorted;
  double bounds = 0;
  for (const std::size_t row : rows) {
    const double height = sample.height_v[row];
    heights.push_back(height);
    bin.inverse_square_per_v2 += 1 / (height * height * static_cast<double>(rows.size()));
    sorted.push_back(sample.difference_s[row]);
    bounds += sample.bound_s[row] * sample.bound_s[row] / static_cast<double>(rows.size());
  }
  std::sort(sorted.begin(), sorted.end());
  const auto statistics = [&](std::span<const std::uint32_t> multiplicity) {
    return std::vector{quantile_of_sorted(sorted, multiplicity, 0.5),
                       0.5 * (quantile_of_sorted(sorted, multiplicity, 1 - lower_tail) -
                              quantile_of_sorted(sorted, multiplicity, lower_tail))};
  };
  const Bootstrap drawn = bootstrap(sorted.size(), statistics, options);
  bin.pairs = rows.size();
  const double freedom = static_cast<double>(rows.size()) - 1;
  bin.low_v = heights.front();
  bin.high_v = heights.back();
  bin.height_v = moments(heights).mean;
  bin.median_s = {drawn.figures[0].value, drawn.figures[0].standard_error, freedom};
  bin.spread_s = {drawn.figures[1].value, drawn.figures[1].standard_error, freedom};
  bin.bound_s = std::sqrt(bounds);
  return bin;
}

Estimate root(const Estimate& square) {
  if (!(square.value > 0)) return {nan, nan, square.degrees_of_freedom};
  const double value = std::sqrt(square.value);
  return {value, square.uncertainty / (2 * value), square.degrees_of_freedom};
}

void fit_law(HeightDependence& found) {
  found.a_squared_v2_s2 = found.b_squared_s2 = found.a_v_s = found.b_s = {nan, nan, nan};
  found.chi_square = found.degrees_of_freedom = found.probability = nan;
  const std::size_t count = found.bins.size();
  if (count < 3) return;
  std::vector<double> design;
  std::vector<double> squares;
  std::vector<double> covariance(count * count, 0.0);
  for (std::size_t i = 0; i < count; ++i) {
    const Estimate& spread = found.bins[i].spread_s;
    design.insert(design.end(), {found.bins[i].inverse_square_per_v2, 1.0});
    squares.push_back(spread.value * spread.value);
    covariance[i * count + i] = std::pow(2 * spread.value * spread.uncertainty, 2);
  }
  const LinearFit fit = least_squares(design, squares, covariance);
  found.a_squared_v2_s2 = fit.parameter(0);
  found.b_squared_s2 = fit.parameter(1);
  found.a_v_s = root(found.a_squared_v2_s2);
  found.b_s = root(found.b_squared_s2);
  found.chi_square = fit.chi_square;
  found.degrees_of_freedom = fit.degrees_of_freedom;
  found.probability = fit.probability;
}

}  // namespace

double HeightBin::effective_height_v() const {
  return 1 / std::sqrt(inverse_square_per_v2);
}

double HeightDependence::sigma_s(double height_v) const {
  return std::sqrt(a_squared_v2_s2.value / (height_v * height_v) + b_squared_s2.value);
}

HeightDependence height_dependence(const DifferencesByHeight& sample, std::size_t bins,
                                   const BootstrapOptions& options) {
  if (bins < 1)
    throw Error("jitter against height", "no bins of height are asked for", "give at least 1, better 8");
  assert(sample.height_v.size() == sample.difference_s.size());
  assert(sample.bound_s.size() == sample.difference_s.size());
  HeightDependence found;
  std::vector<std::size_t> rows;
  for (std::size_t i = 0; i < sample.difference_s.size(); ++i) {
    if (sample.height_v[i] > 0 && std::isfinite(sample.height_v[i])) rows.push_back(i);
  }
  found.without_height = sample.difference_s.size() - rows.size();
  std::stable_sort(rows.begin(), rows.end(),
                   [&](std::size_t a, std::size_t b) { return sample.height_v[a] < sample.height_v[b]; });
  const std::size_t count = std::min(bins, rows.size() / fewest_in_height_bin);
  for (std::size_t bin = 0; bin < count; ++bin) {
    const std::size_t begin = bin * rows.size() / count;
    const std::size_t end = (bin + 1) * rows.size() / count;
    found.bins.push_back(bin_of(sample, std::span(rows).subspan(begin, end - begin), options));
  }
  fit_law(found);
  return found;
}

}  // namespace firstedge
