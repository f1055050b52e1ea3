#include "firstedge/stats/bootstrap.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/seeds.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <random>

#include <boost/random/uniform_int_distribution.hpp>
#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t fewest_resamples = 20;

void check(std::size_t rows, const BootstrapOptions& options) {
  if (options.resamples < fewest_resamples)
    throw Error("bootstrap", fmt::format("{} resamples are too few for an interval", options.resamples),
                fmt::format("give at least {}, better 1000", fewest_resamples));
  if (!(options.coverage > 0 && options.coverage < 1))
    throw Error("bootstrap", fmt::format("a coverage of {} is not between 0 and 1", options.coverage),
                "give a share such as 0.95");
  if (rows > std::numeric_limits<std::uint32_t>::max())
    throw Error("bootstrap", fmt::format("{} rows are too many", rows), "use fewer than 4e9 records");
}

// Bias correction: the share of resampled figures below the sample's own moves the quantiles that are taken.
Interval corrected_interval(std::span<const double> sorted, double value, double tail) {
  const auto below = std::lower_bound(sorted.begin(), sorted.end(), value) - sorted.begin();
  const auto up_to = std::upper_bound(sorted.begin(), sorted.end(), value) - sorted.begin();
  const auto n = static_cast<double>(sorted.size());
  const double share = std::clamp(0.5 * static_cast<double>(below + up_to) / n, 0.5 / n, 1 - 0.5 / n);
  const double z0 = normal_quantile(share);
  const double z = normal_quantile(tail);
  return {quantile_of_sorted(sorted, normal_cumulative(2 * z0 + z)),
          quantile_of_sorted(sorted, normal_cumulative(2 * z0 - z))};
}

Bootstrapped summary(double value, std::span<const double> drawn, double coverage) {
  const std::vector<double> sorted = finite_sorted(drawn);
  const Moments spread = moments(sorted);
  Bootstrapped figure{.value = value,
                      .standard_error = spread.deviation.value,
                      .bias = spread.mean.value - value,
                      .percentile = {nan, nan},
                      .corrected = {nan, nan},
                      .resamples = sorted.size()};
  if (sorted.empty()) return figure;
  const double tail = 0.5 * (1 - coverage);
  figure.percentile = {quantile_of_sorted(sorted, tail), quantile_of_sorted(sorted, 1 - tail)};
  if (std::isfinite(value)) figure.corrected = corrected_interval(sorted, value, tail);
  return figure;
}

// Covariance over the resamples in which both figures could be had.
double covariance_of(std::span<const double> a, std::span<const double> b) {
  double count = 0, mean_a = 0, mean_b = 0, sum = 0;
  for (std::size_t r = 0; r < a.size(); ++r) {
    if (!std::isfinite(a[r]) || !std::isfinite(b[r])) continue;
    // Running means (B. P. Welford, Technometrics 4 (1962) 419).
    count += 1;
    const double step = a[r] - mean_a;
    mean_a += step / count;
    mean_b += (b[r] - mean_b) / count;
    sum += step * (b[r] - mean_b);
  }
  return count > 1 ? sum / (count - 1) : nan;
}

}  // namespace

Bootstrap bootstrap(std::size_t rows, const Statistics& statistics, const BootstrapOptions& options) {
  check(rows, options);
  std::vector<std::uint32_t> multiplicity(rows, 1);
  const std::vector<double> values = statistics(multiplicity);
  std::vector<std::vector<double>> draws(values.size(), std::vector<double>(options.resamples, nan));
  for (std::size_t resample = 0; resample < options.resamples && rows > 0; ++resample) {
    std::mt19937_64 engine(mixed_seed(options.seed, resample));
    boost::random::uniform_int_distribution<std::size_t> row(0, rows - 1);
    std::fill(multiplicity.begin(), multiplicity.end(), 0U);
    for (std::size_t i = 0; i < rows; ++i) ++multiplicity[row(engine)];
    const std::vector<double> figures = statistics(multiplicity);
    assert(figures.size() == values.size());
    for (std::size_t f = 0; f < figures.size(); ++f) draws[f][resample] = figures[f];
  }
  Bootstrap result;
  for (std::size_t f = 0; f < values.size(); ++f)
    result.figures.push_back(summary(values[f], draws[f], options.coverage));
  for (const std::vector<double>& a : draws) {
    for (const std::vector<double>& b : draws) result.covariance.push_back(covariance_of(a, b));
  }
  return result;
}

}  // namespace firstedge
