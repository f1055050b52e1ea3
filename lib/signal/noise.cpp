#include "firstedge/signal/noise.hpp"

#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/level_statistics.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>

#include <Eigen/Dense>

namespace firstedge {
namespace {

/// What the mean of a stretch of n samples does to its products: with true autocovariance c, the expectation
/// of sum over i < n-k of (x_i - m)(x_(i+k) - m) is sum over l of map(k, l) c_l.
void add_mean_map(Eigen::MatrixXd& map, std::size_t length, double stretches) {
  const auto n = static_cast<double>(length);
  const auto lags = static_cast<std::size_t>(map.rows());
  for (std::size_t k = 0; k < std::min(lags, length); ++k) {
    const double products = n - static_cast<double>(k);
    for (std::size_t l = 0; l < std::min(lags, length); ++l) {
      const double rest = n - static_cast<double>(l);
      // Pairs (i, j), i < n - k, j < n, that are l apart; and those of the mean with itself.
      const double with_mean =
          l == 0 ? products : std::min(products, rest) + std::max(0.0, products - static_cast<double>(l));
      const double mean_with_mean = l == 0 ? n : 2 * rest;
      map(static_cast<Eigen::Index>(k), static_cast<Eigen::Index>(l)) +=
          stretches * ((k == l ? products : 0) - 2 * with_mean / n + products * mean_with_mean / (n * n));
    }
  }
}

/// The last lag whose correlation is significant, given that the next ones are not.
std::size_t last_significant_lag(const std::vector<double>& autocovariance, std::size_t samples) {
  constexpr std::size_t run = 5;      // so many insignificant lags end it
  constexpr double deviations = 2.5;  // of the sampling error of a correlation
  double squares = 1;                 // Bartlett's sum: the sampling variance of a correlation is squares / n
  std::size_t last = 0;
  for (std::size_t k = 1; k < autocovariance.size() && k <= last + run; ++k) {
    const double correlation = autocovariance[k] / autocovariance[0];
    if (std::abs(correlation) > deviations * std::sqrt(squares / static_cast<double>(samples))) last = k;
    squares += 2 * correlation * correlation;
  }
  return last;
}

/// The flat-top taper: 1 up to the lag `full`, falling to 0 at twice that (or the end).
void taper(std::vector<double>& autocovariance, std::size_t full) {
  const std::size_t size = std::min(autocovariance.size(), 2 * full + 1);
  const std::size_t flat = std::min(full, autocovariance.size() / 2);
  autocovariance.resize(size);
  for (std::size_t k = flat + 1; k < size; ++k) {
    autocovariance[k] *= static_cast<double>(size - k) / static_cast<double>(size - flat);
  }
}

/// c0 + 2 sum c_k cos(2 pi k j / points) for j = 0 ... points/2.
std::vector<double> spectrum_on_grid(const std::vector<double>& autocovariance, std::size_t points) {
  std::vector<double> circle(points, 0.0);
  circle[0] = autocovariance[0];
  for (std::size_t k = 1; k < autocovariance.size(); ++k) circle[k] = circle[points - k] = autocovariance[k];
  std::vector<double> spectrum;
  for (const std::complex<double>& line : forward_fft(circle)) spectrum.push_back(line.real());
  return spectrum;
}

/// The least value of a spectrum, with dips between grid points found by parabolas.
double least_of(const std::vector<double>& spectrum) {
  double least = *std::min_element(spectrum.begin(), spectrum.end());
  for (std::size_t j = 1; j + 1 < spectrum.size(); ++j) {
    const double left = spectrum[j - 1], middle = spectrum[j], right = spectrum[j + 1];
    if (middle > left || middle > right) continue;
    const double curvature = left - 2 * middle + right;
    if (curvature > 0) least = std::min(least, middle - (right - left) * (right - left) / (8 * curvature));
  }
  return least;
}

/// One projection onto spectra of at least `floor`, and back onto so many lags.
std::vector<double> raised_to(double floor, const std::vector<double>& spectrum, std::size_t lags,
                              std::size_t points) {
  std::vector<std::complex<double>> lines;
  lines.reserve(spectrum.size());
  for (const double value : spectrum) lines.emplace_back(std::max(value, floor), 0);
  std::vector<double> circle = inverse_fft(std::move(lines), points);
  circle.resize(lags);
  return circle;
}

}  // namespace

NoiseAccumulator::NoiseAccumulator(double interval_s, std::size_t lags, double step_v)
    : interval_s_(interval_s), step_v_(step_v), sums_(std::max<std::size_t>(lags, 1), 0.0) {}

void NoiseAccumulator::add(std::span<const double> volts) {
  if (volts.size() < 2 || !std::all_of(volts.begin(), volts.end(), [](double v) { return std::isfinite(v); }))
    return;
  const double mean = mean_of_values(volts);
  std::vector<double> deviations(volts.begin(), volts.end());
  for (double& deviation : deviations) deviation -= mean;
  for (std::size_t k = 0; k < std::min(sums_.size(), deviations.size()); ++k) {
    double products = 0;
    for (std::size_t i = 0; i + k < deviations.size(); ++i) products += deviations[i] * deviations[i + k];
    sums_[k] += products;
  }
  ++stretches_[volts.size()];
  samples_ += volts.size();
}

NoiseModel NoiseAccumulator::model() const {
  const double least_v2 = step_v_ * step_v_ / 12;
  NoiseModel model{.interval_s = interval_s_, .autocovariance_v2 = {least_v2}, .samples_used = samples_};
  if (samples_ == 0) return model;
  double count = 0;
  for (const auto& [length, stretches] : stretches_) count += static_cast<double>(stretches);
  const double mean_length = static_cast<double>(samples_) / count;
  const std::size_t lags =
      std::clamp<std::size_t>(static_cast<std::size_t>(mean_length / 3), 1, sums_.size());

  const auto size = static_cast<Eigen::Index>(lags);
  Eigen::MatrixXd map = Eigen::MatrixXd::Zero(size, size);
  for (const auto& [length, stretches] : stretches_)
    add_mean_map(map, length, static_cast<double>(stretches));
  const Eigen::VectorXd solved =
      map.partialPivLu().solve(Eigen::Map<const Eigen::VectorXd>(sums_.data(), size));
  std::vector<double> autocovariance(solved.begin(), solved.end());
  if (!(autocovariance[0] > least_v2)) return model;
  taper(autocovariance, last_significant_lag(autocovariance, samples_));
  model.autocovariance_v2 = positive_definite(std::move(autocovariance));
  return model;
}

std::vector<double> positive_definite(std::vector<double> autocovariance) {
  if (autocovariance.empty() || !(autocovariance[0] > 0) || !std::isfinite(autocovariance[0])) return {0.0};
  const double variance = autocovariance[0];
  const std::size_t lags = autocovariance.size();
  const std::size_t points = std::bit_ceil(32 * lags);
  constexpr int projections = 30;
  for (int i = 0; i < projections; ++i) {
    const std::vector<double> spectrum = spectrum_on_grid(autocovariance, points);
    const double floor = lowest_spectrum_share * autocovariance[0];
    if (least_of(spectrum) >= floor) break;
    autocovariance = raised_to(1.5 * floor, spectrum, lags, points);
  }
  // What the projections left is made up by white noise, and the variance is as it was.
  const double least = least_of(spectrum_on_grid(autocovariance, points));
  const double missing = lowest_spectrum_share * autocovariance[0] - least;
  if (missing > 0) autocovariance[0] += missing / (1 - lowest_spectrum_share);
  const double scale = variance / autocovariance[0];
  if (scale != 1) {
    for (double& value : autocovariance) value *= scale;
  }
  return autocovariance;
}

std::vector<double> model_density(const NoiseModel& noise, std::span<const double> frequency_hz) {
  std::vector<double> density;
  density.reserve(frequency_hz.size());
  for (const double frequency : frequency_hz) {
    const double step = 2 * std::acos(-1.0) * frequency * noise.interval_s;
    double sum = noise.covariance_v2(0);
    for (std::size_t k = 1; k < noise.autocovariance_v2.size(); ++k)
      sum += 2 * noise.autocovariance_v2[k] * std::cos(step * static_cast<double>(k));
    density.push_back(2 * noise.interval_s * sum);
  }
  return density;
}

}  // namespace firstedge
