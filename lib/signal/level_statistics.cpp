#include "firstedge/signal/level_statistics.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <boost/math/special_functions/erf.hpp>

namespace firstedge {
namespace {

constexpr std::size_t most_sorted = 1024;
constexpr std::size_t fewest_held = 40;

/// A sorted copy, thinned evenly where there are very many.
std::vector<double> sorted_sample(std::span<const double> values) {
  const std::size_t stride = (values.size() + most_sorted - 1) / most_sorted;
  std::vector<double> sorted;
  sorted.reserve(values.size() / std::max<std::size_t>(stride, 1) + 1);
  for (std::size_t i = 0; i < values.size(); i += stride) sorted.push_back(values[i]);
  std::sort(sorted.begin(), sorted.end());
  return sorted;
}

/// Lag-one coefficient of a first-order autoregression, corrected for its small-sample bias -(1 + 3 r)/n
/// (M. G. Kendall, Biometrika 41 (1954) 403, from memory) and kept where prewhitening is stable.
double autoregression(std::span<const double> values) {
  double products = 0, squares = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    squares += values[i] * values[i];
    if (i + 1 < values.size()) products += values[i] * values[i + 1];
  }
  if (!(squares > 0)) return 0;
  const double raw = products / squares;
  const auto n = static_cast<double>(values.size());
  return std::clamp(raw + (1 + 3 * raw) / n, -0.97, 0.97);
}

/// Long-run variance (sum of the autocovariance over all lags) with a Bartlett window of Andrews' width.
double bartlett_long_run_variance(std::span<const double> values) {
  const auto n = static_cast<double>(values.size());
  const double r = autoregression(values);
  const double alpha = 4 * r * r / std::pow((1 - r) * (1 + r), 2);
  const double width = std::min(1.1447 * std::cbrt(alpha * n), n / 4);
  double sum = 0;
  for (const double value : values) sum += value * value;
  double weights = 1;
  for (std::size_t lag = 1; static_cast<double>(lag) < width; ++lag) {
    const double weight = 1 - static_cast<double>(lag) / width;
    double products = 0;
    for (std::size_t i = 0; i + lag < values.size(); ++i) products += values[i] * values[i + lag];
    sum += 2 * weight * products;
    weights += 2 * weight;
  }
  // The mean taken away lowers each lag by variance-of-mean = long-run variance / n.
  return sum / n / std::max(1 - weights / n, 0.25);
}

}  // namespace

double mean_of_values(std::span<const double> values) {
  if (values.empty()) return 0;
  double sum = 0;
  for (const double value : values) sum += value;
  const double first = sum / static_cast<double>(values.size());
  double rest = 0;  // second pass: takes the rounding of the first away
  for (const double value : values) rest += value - first;
  return first + rest / static_cast<double>(values.size());
}

double deviation_of(std::span<const double> values) {
  if (values.size() < 2) return 0;
  const double mean = mean_of_values(values);
  double sum = 0;
  for (const double value : values) sum += (value - mean) * (value - mean);
  return std::sqrt(sum / static_cast<double>(values.size() - 1));
}

RobustLevel shortest_quarter(std::span<const double> values, double step) {
  if (values.empty()) return {};
  const std::vector<double> sorted = sorted_sample(values);
  const std::size_t n = sorted.size();
  const std::size_t held = std::max(n / 4, std::min<std::size_t>(fewest_held, n / 2 + 1));
  double shortest = sorted[held - 1] - sorted[0];
  for (std::size_t i = 1; i + held <= n; ++i) shortest = std::min(shortest, sorted[i + held - 1] - sorted[i]);
  // Quantised samples give many intervals of equal length: the middle one of those.
  std::vector<std::size_t> equal;
  for (std::size_t i = 0; i + held <= n; ++i) {
    if (sorted[i + held - 1] - sorted[i] <= shortest * (1 + 1e-12)) equal.push_back(i);
  }
  const std::size_t first = equal[equal.size() / 2];
  const double centre = mean_of_values(std::span(sorted).subspan(first, held));

  // A normal law holds the coverage within +-half standard deviations. The shortest of many intervals is
  // shorter than that; the factor is a fit to simulated white samples, 8 to 4096 of them.
  const double coverage = static_cast<double>(held) / static_cast<double>(n);
  const double half = std::numbers::sqrt2 * boost::math::erf_inv(std::min(coverage, 0.95));
  const double shortening = 1 + (3.6 - 3.2 * coverage) * std::pow(static_cast<double>(held), -0.7);
  const double deviation = shortening * shortest / (2 * half);
  const double range = sorted.back() - sorted.front();
  constexpr double least_of_range = 1e-7;  // keeps rounding errors of noiseless samples from being noise
  return {.centre = centre, .deviation = std::max({deviation, 0.5 * step, least_of_range * range})};
}

MeanVariance variance_of_mean(std::span<const double> deviations) {
  const auto n = static_cast<double>(deviations.size());
  double squares = 0;
  for (const double value : deviations) squares += value * value;
  if (deviations.size() < 2 || !(squares > 0))
    return {.variance = 0, .degrees_of_freedom = n > 1 ? n - 1 : 0};

  // A negative correlation lowers the variance: it is believed only where it is significant.
  const double estimated = autoregression(deviations);
  const double r = estimated < 0 && estimated > -2 / std::sqrt(n) ? 0 : estimated;
  std::vector<double> white(deviations.size() - 1);
  for (std::size_t i = 0; i < white.size(); ++i) white[i] = deviations[i + 1] - r * deviations[i];
  const double long_run = bartlett_long_run_variance(white) / ((1 - r) * (1 - r));
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
  double sum = 0;
  for (int k = 1; k <= 1000; ++k) {
    const double term = std::exp(-exponent * k * k) / (static_cast<double>(k) * k);
    sum += term;
    if (term < 1e-12 * sum) break;
  }
  return step * std::sqrt(sum / (2 * std::numbers::pi * std::numbers::pi));
}

}  // namespace firstedge
