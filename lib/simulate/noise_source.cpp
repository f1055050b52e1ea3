#include "firstedge/simulate/noise_source.hpp"

#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/interpolation.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include <boost/random/normal_distribution.hpp>

namespace firstedge {
namespace {

std::size_t power_of_two_from(std::size_t least) {
  std::size_t size = 1;
  while (size < least) size *= 2;
  return size;
}

// Power response of a Gaussian band with its -3 dB point at band_hz.
double band_power(double frequency_hz, double band_hz) {
  const double ratio = frequency_hz / band_hz;
  return std::exp(-std::numbers::ln2 * ratio * ratio);
}

}  // namespace

NoiseSource::NoiseSource(const NoisePlan& plan, double band_hz, std::size_t samples, double interval_s)
    : plan_(plan),
      band_hz_(band_hz),
      interval_s_(interval_s),
      samples_(samples),
      circle_(power_of_two_from(2 * samples)),
      amplitude_(circle_ / 2 + 1) {
  const double step_hz = 1 / (static_cast<double>(circle_) * interval_s);
  double band_sum = 0, flicker_sum = 0;
  for (std::size_t k = 0; k < amplitude_.size(); ++k) {
    const double frequency = step_hz * static_cast<double>(k);
    const double width_hz = k == 0 || k + 1 == amplitude_.size() ? step_hz / 2 : step_hz;
    band_sum += band_power(frequency, band_hz) * width_hz;
    if (k > 0) flicker_sum += width_hz / frequency;
  }
  band_scale_ = plan.band_v * plan.band_v / band_sum;
  flicker_scale_ = plan.flicker_v * plan.flicker_v / flicker_sum;
  // A line k inside the band adds a variance of 4 a^2, the constant and the Nyquist line a^2.
  for (std::size_t k = 0; k < amplitude_.size(); ++k) {
    const double power = density_at(step_hz * static_cast<double>(k)) * step_hz;
    const bool end = k == 0 || k + 1 == amplitude_.size();
    amplitude_[k] = std::sqrt(end ? power / 2 : power / 4);
  }
}

double NoiseSource::density_at(double frequency_hz) const {
  const double white = 2 * plan_.white_v * plan_.white_v * interval_s_;
  const double band = band_scale_ * band_power(frequency_hz, band_hz_);
  return white + band + (frequency_hz > 0 ? flicker_scale_ / frequency_hz : 0);
}

std::vector<double> NoiseSource::density_v2_per_hz(std::size_t size) const {
  std::vector<double> density(size / 2 + 1);
  for (std::size_t k = 0; k < density.size(); ++k) {
    density[k] = density_at(static_cast<double>(k) / (static_cast<double>(size) * interval_s_));
  }
  return density;
}

// The circle of noise at `points` instants, circle_ or a multiple of it: the lines above Nyquist are 0 then.
std::vector<double> NoiseSource::draw_circle(std::mt19937_64& engine, std::size_t points) const {
  boost::random::normal_distribution<> normal;
  std::vector<std::complex<double>> lines(points / 2 + 1);
  for (std::size_t k = 0; k < amplitude_.size(); ++k) {
    const double real = normal(engine);
    const double imaginary = normal(engine);
    const bool end = k == 0 || k + 1 == amplitude_.size();
    lines[k] = amplitude_[k] * std::complex<double>(real, end ? 0 : imaginary);
  }
  // Between the samples the line at Nyquist is a cosine of its own: half of it stands at either frequency.
  if (points > circle_) lines[amplitude_.size() - 1] *= 0.5;
  // inverse_fft divides by the length; the amplitudes are those of the bare sum.
  std::vector<double> noise = inverse_fft(std::move(lines), points);
  for (double& value : noise) value *= static_cast<double>(points);
  return noise;
}

std::vector<double> NoiseSource::draw(std::mt19937_64& engine) const {
  if (is_white()) {  // no transform needed
    boost::random::normal_distribution<> normal;
    std::vector<double> noise(samples_, 0.0);
    if (plan_.white_v > 0) {
      for (double& value : noise) value = plan_.white_v * normal(engine);
    }
    return noise;
  }
  std::vector<double> noise = draw_circle(engine, circle_);
  noise.resize(samples_);
  return noise;
}

std::vector<double> NoiseSource::draw_at(std::mt19937_64& engine, std::span<const double> offsets_s) const {
  if (is_white()) return draw(engine);
  constexpr std::size_t finer = 4, most_samples_off = 4;
  std::vector<double> circle = draw_circle(engine, finer * circle_);
  // The circle is closed, so that what stands before its first point is its end.
  const auto margin = static_cast<std::ptrdiff_t>(finer * most_samples_off);
  std::rotate(circle.begin(), circle.end() - margin, circle.end());
  std::vector<double> noise(samples_);
  for (std::size_t i = 0; i < samples_; ++i) {
    const double position = static_cast<double>(i) + offsets_s[i] / interval_s_;
    noise[i] = interpolated(circle, static_cast<double>(margin) + finer * position, Interpolation::quintic);
  }
  return noise;
}

}  // namespace firstedge
