#include "firstedge/signal/noise.hpp"

#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/signal/level_statistics.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <numbers>

namespace firstedge {
namespace {

/// A lag is used where it has one pair for so many that neighbours have.
constexpr std::size_t fewest_pairs_share = 4;

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

/// Where the lags end before the memory does (up to the lag `last`), Hann's window over all of them, which
/// makes least of negative power beside a line; else a flat top up to `last` that falls to 0 at twice that.
void taper(std::vector<double>& autocovariance, std::size_t last) {
  const std::size_t all = autocovariance.size();
  if (2 * last + 1 > all) {
    for (std::size_t k = 1; k < all; ++k)
      autocovariance[k] *=
          0.5 + 0.5 * std::cos(std::numbers::pi * static_cast<double>(k) / static_cast<double>(all));
    return;
  }
  const std::size_t end = 2 * last + 1;
  autocovariance.resize(end);
  for (std::size_t k = last + 1; k < end; ++k)
    autocovariance[k] *= static_cast<double>(end - k) / static_cast<double>(end - last);
}

/// The mean over the farther two thirds of the lags, least at their ends (Hann's window), so that a line of
/// more than one period leaves next to nothing in it.
double far_mean(const std::vector<double>& by_lag) {
  const std::size_t first = std::max<std::size_t>(by_lag.size() / 3, 1);
  double sum = 0, weights = 0;
  for (std::size_t k = first; k < by_lag.size(); ++k) {
    const double place = (static_cast<double>(k - first) + 0.5) / static_cast<double>(by_lag.size() - first);
    const double weight = 1 - std::cos(2 * std::numbers::pi * place);
    sum += weight * by_lag[k];
    weights += weight;
  }
  return weights > 0 ? sum / weights : 0;
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
    : interval_s_(interval_s),
      step_v_(step_v),
      half_squares_(std::max<std::size_t>(lags, 1) + 1, 0.0),
      pairs_(half_squares_.size(), 0) {}

void NoiseAccumulator::add(std::span<const double> volts) {
  if (volts.size() < 2 || !std::all_of(volts.begin(), volts.end(), [](double v) { return std::isfinite(v); }))
    return;
  // Half the squared differences from sums of squares and products, which go side by side; without the mean
  // nothing of them is lost to rounding.
  const double mean = mean_of_values(volts);
  std::vector<double> deviations(volts.begin(), volts.end());
  std::vector<double> squares_before{0};
  for (double& deviation : deviations) {
    deviation -= mean;
    squares_before.push_back(squares_before.back() + deviation * deviation);
  }
  const std::size_t n = deviations.size();
  for (std::size_t k = 1; k < std::min(half_squares_.size(), n); ++k) {
    const std::span<const double> all(deviations);
    const double squares = squares_before[n - k] + (squares_before[n] - squares_before[k]);
    half_squares_[k] += std::max(squares / 2 - sum_of_products(all.first(n - k), all.subspan(k)), 0.0);
    pairs_[k] += n - k;
  }
  samples_ += volts.size();
}

NoiseModel NoiseAccumulator::model() const {
  const double least_v2 = step_v_ * step_v_ / 12;
  NoiseModel model{.interval_s = interval_s_, .autocovariance_v2 = {least_v2}, .samples_used = samples_};
  if (samples_ == 0) return model;
  std::vector<double> half_square{0};  // mean of half the squared difference, by lag
  while (half_square.size() < pairs_.size() && pairs_[half_square.size()] * fewest_pairs_share >= pairs_[1])
    half_square.push_back(half_squares_[half_square.size()] /
                          static_cast<double>(pairs_[half_square.size()]));
  const std::size_t longest = half_square.size() - 1;
  const double variance = far_mean(half_square);
  if (!(variance > least_v2)) return model;
  std::vector<double> autocovariance(std::max<std::size_t>(longest, 1));
  for (std::size_t k = 0; k < autocovariance.size(); ++k) autocovariance[k] = variance - half_square[k];
  taper(autocovariance, last_significant_lag(autocovariance, samples_));
  model.autocovariance_v2 = positive_definite(std::move(autocovariance));
  return model;
}

NoiseModel with_lines_taken_out(NoiseModel noise, std::span<const double> frequency_hz,
                                std::size_t window_samples, std::size_t lags) {
  const std::vector<double> density = model_density(noise, frequency_hz);
  for (std::size_t line = 0; line < frequency_hz.size(); ++line) {
    const double turns = frequency_hz[line] * noise.interval_s;  // a sample
    if (!(turns * static_cast<double>(window_samples) >= 1) || !(turns < 0.5)) continue;
    // One-sided density = 2 dt * (the sum over all lags).
    const double fitted_v2 = 2 / static_cast<double>(window_samples) * density[line] / (2 * noise.interval_s);
    noise.autocovariance_v2.resize(std::max(noise.autocovariance_v2.size(), lags), 0.0);
    for (std::size_t k = 0; k < noise.autocovariance_v2.size(); ++k)
      noise.autocovariance_v2[k] +=
          2 * fitted_v2 * std::cos(2 * std::numbers::pi * turns * static_cast<double>(k));
  }
  return noise;
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
