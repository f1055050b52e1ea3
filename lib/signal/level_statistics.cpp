#include "firstedge/signal/level_statistics.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/signal/sample_buffer.hpp"
#include "firstedge/signal/sorted_samples.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <boost/math/special_functions/erf.hpp>

namespace firstedge {
namespace {

constexpr std::size_t most_sorted = 1024;
constexpr std::size_t fewest_held = 40;

/// Every so-many-th of n values is sorted: all, but where there are very many.
std::size_t stride_of(std::size_t n) {
  return (n + most_sorted - 1) / most_sorted;
}

std::vector<double> thinned(std::span<const double> values) {
  const std::size_t stride = stride_of(values.size());
  if (stride <= 1) return {values.begin(), values.end()};
  std::vector<double> some;
  some.reserve(values.size() / stride + 1);
  for (std::size_t i = 0; i < values.size(); i += stride) some.push_back(values[i]);
  return some;
}

/// The sum of values[i] * values[i + lag].
double lag_product(std::span<const double> values, std::size_t lag) {
  if (values.size() <= lag) return 0;
  return sum_of_products(values.first(values.size() - lag), values.subspan(lag));
}

/// The same of the lags from `first` on.
std::array<double, lags_at_once> lag_products_from(std::span<const double> values, std::size_t first) {
  if (values.size() >= first + lags_at_once) return lag_products(values, first);
  std::array<double, lags_at_once> products{};
  for (std::size_t k = 0; k < lags_at_once; ++k) products[k] = lag_product(values, first + k);
  return products;
}

/// How a normal law looks through the shortest interval that holds `held` of n samples.
struct Coverage {
  std::size_t n = 0, held = 0;
  double half = 0;        ///< the interval is twice so long, in standard deviations
  double shortening = 1;  ///< the shortest of many intervals is shorter than that
};

/// Of n samples.
std::size_t held_of(std::size_t n) {
  return std::max(n / 4, std::min<std::size_t>(fewest_held, n / 2 + 1));
}

Coverage coverage_of(std::size_t n) {
  const std::size_t held = held_of(n);
  const double coverage = static_cast<double>(held) / static_cast<double>(n);
  // A normal law holds the coverage within +-half standard deviations. The factor for the shortest of many is
  // a fit to simulated white samples, 8 to 4096 of them.
  return {.n = n,
          .held = held,
          .half = std::numbers::sqrt2 * boost::math::erf_inv(std::min(coverage, 0.95)),
          .shortening = 1 + (3.6 - 3.2 * coverage) * std::pow(static_cast<double>(held), -0.7)};
}

/// Lag-one coefficient of a first-order autoregression, corrected for its small-sample bias -(1 + 3 r)/n
/// (M. G. Kendall, Biometrika 41 (1954) 403, from memory) and kept where prewhitening is stable. squares,
/// product: the sums over n values of their squares and of their products with the next.
double autoregression(double squares, double product, std::size_t n) {
  if (!(squares > 0)) return 0;
  const double raw = product / squares;
  return std::clamp(raw + (1 + 3 * raw) / static_cast<double>(n), -0.97, 0.97);
}

/// Long-run variance (sum of the autocovariance over all lags) with a Bartlett window of Andrews' width.
double bartlett_long_run_variance(std::span<const double> values) {
  const auto n = static_cast<double>(values.size());
  std::array<double, lags_at_once> products = lag_products_from(values, 0);
  const double r = autoregression(products[0], products[1], values.size());
  const double damping = (1 - r) * (1 + r);
  const double alpha = 4 * r * r / (damping * damping);
  const double width = std::min(1.1447 * std::cbrt(alpha * n), n / 4);
  double sum = products[0];
  double weights = 1;
  for (std::size_t lag = 1; static_cast<double>(lag) < width; ++lag) {
    if (lag % lags_at_once == 0) products = lag_products_from(values, lag);
    const double weight = 1 - static_cast<double>(lag) / width;
    sum += 2 * weight * products[lag % lags_at_once];
    weights += 2 * weight;
  }
  // The mean taken away lowers each lag by variance-of-mean = long-run variance / n.
  return sum / n / std::max(1 - weights / n, 0.25);
}

}  // namespace

double mean_of_values(std::span<const double> values) {
  if (values.empty()) return 0;
  const auto n = static_cast<double>(values.size());
  const double first = sum_of(values) / n;
  return first + sum_of_distances(values, first) / n;  // takes the rounding of the first away
}

double deviation_of(std::span<const double> values) {
  if (values.size() < 2) return 0;
  return std::sqrt(sum_of_squared_distances(values, mean_of_values(values)) /
                   static_cast<double>(values.size() - 1));
}

RobustLevel shortest_quarter(std::span<const double> values, double step) {
  if (values.empty()) return {};
  std::vector<double> sorted = thinned(values);
  sort_samples(sorted);
  const Coverage coverage = coverage_of(sorted.size());
  const std::size_t held = coverage.held;
  const std::size_t intervals = sorted.size() + 1 - held;
  double shortest = sorted[held - 1] - sorted[0];
  for (std::size_t i = 1; i < intervals; ++i) shortest = std::min(shortest, sorted[i + held - 1] - sorted[i]);
  // Quantised samples give many intervals of equal length: the middle one of those.
  const double longest_equal = shortest * (1 + 1e-12);
  std::vector<std::size_t> equal(intervals);
  std::size_t count = 0;
  for (std::size_t i = 0; i < intervals; ++i) {
    equal[count] = i;
    count += sorted[i + held - 1] - sorted[i] <= longest_equal ? 1 : 0;
  }
  const double centre = mean_of_values(std::span(sorted).subspan(equal[count / 2], held));

  const double deviation = coverage.shortening * shortest / (2 * coverage.half);
  const double range = sorted.back() - sorted.front();
  constexpr double least_of_range = 1e-7;  // keeps rounding errors of noiseless samples from being noise
  return {.centre = centre, .deviation = std::max({deviation, 0.5 * step, least_of_range * range})};
}

bool surely_near_level(std::span<const double> values, double distance) {
  if (values.empty()) return true;
  const auto n = static_cast<double>(values.size());
  const double mean = sum_of(values) / n;
  const auto [least, greatest] = extremes_of(values);
  const std::size_t stride = stride_of(values.size());
  const auto held = static_cast<double>(held_of((values.size() + stride - 1) / stride));
  const double centre_from_mean = std::sqrt(sum_of_squared_distances(values, mean) / n * (n - held) / held);
  constexpr double rounding = 1e-12;
  const double sure = distance * (1 - rounding) - rounding * std::max(std::abs(least), std::abs(greatest));
  return std::max(greatest - mean, mean - least) + centre_from_mean <= sure;
}

MeanVariance variance_of_mean(std::span<const double> deviations) {
  const auto n = static_cast<double>(deviations.size());
  const std::array<double, lags_at_once> products = lag_products_from(deviations, 0);
  const double squares = products[0];
  if (deviations.size() < 2 || !(squares > 0))
    return {.variance = 0, .degrees_of_freedom = n > 1 ? n - 1 : 0};

  // A negative correlation lowers the variance: it is believed only where it is significant.
  const double estimated = autoregression(squares, products[1], deviations.size());
  const double r = estimated < 0 && estimated > -2 / std::sqrt(n) ? 0 : estimated;
  SampleBuffer white(deviations);
  prewhiten(white.values(), r);
  const double long_run =
      bartlett_long_run_variance(white.values().first(deviations.size() - 1)) / ((1 - r) * (1 - r));
  // Anticorrelated samples make a mean better than independent ones do, but few samples cannot show by how
  // much.
  const double least = squares / n * std::max(1e-4, 4 / n);
  return {.variance = std::max(long_run, least) / n,
          .degrees_of_freedom = std::max(1.0, n / (1 + 2 * (1 + r) / (1 - r)))};
}

double rounding_uncertainty(double step, double rms) {
  if (!(step > 0)) return 0;
  const double before_rounding = std::max(0.0, rms * rms / (step * step) - 1.0 / 12);
  const double exponent = 4 * std::numbers::pi * std::numbers::pi * before_rounding;
  if (exponent == 0) return step / std::sqrt(12.0);
  constexpr double nothing_left_from = 750;  // exp(-750) is 0 in a double
  if (exponent >= nothing_left_from) return 0;
  double sum = 0;
  for (int k = 1; k <= 1000; ++k) {
    const double term = std::exp(-exponent * k * k) / (static_cast<double>(k) * k);
    sum += term;
    if (term <= 1e-12 * sum) break;  // also where it is too small for a double
  }
  return step * std::sqrt(sum / (2 * std::numbers::pi * std::numbers::pi));
}

}  // namespace firstedge
