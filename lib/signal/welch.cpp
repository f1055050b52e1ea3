// Welch's spectrum, and means of spectra.
#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/level_statistics.hpp"
#include "firstedge/signal/noise.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <complex>
#include <numbers>

namespace firstedge {
namespace {

/// The periodic Hann window; a single sample has weight 1.
std::vector<double> hann_window(std::size_t size) {
  std::vector<double> window(size, 1.0);
  for (std::size_t i = 0; size > 1 && i < size; ++i) {
    const double turn = 2 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(size);
    window[i] = 0.5 - 0.5 * std::cos(turn);
  }
  return window;
}

void add_periodogram(std::vector<double>& sums, std::span<const double> samples,
                     const std::vector<double>& window) {
  const double mean = mean_of_values(samples);
  std::vector<double> windowed(samples.size());
  for (std::size_t i = 0; i < samples.size(); ++i) windowed[i] = window[i] * (samples[i] - mean);
  const std::vector<std::complex<double>> lines = forward_fft(windowed);
  for (std::size_t k = 0; k < sums.size(); ++k) sums[k] += std::norm(lines[k]);
}

}  // namespace

PowerSpectrum welch(std::span<const double> volts, double interval_s, std::size_t segment) {
  PowerSpectrum spectrum;
  const std::size_t size = std::min(segment, volts.size());
  if (size == 0) return spectrum;
  const std::vector<double> window = hann_window(size);
  double window_squares = 0;
  for (const double weight : window) window_squares += weight * weight;

  std::vector<double>& density = spectrum.density_v2_per_hz;
  density.assign(size / 2 + 1, 0.0);
  const std::size_t step = size - size / 2;
  for (std::size_t first = 0; first + size <= volts.size(); first += step) {
    add_periodogram(density, volts.subspan(first, size), window);
    ++spectrum.segments;
  }
  const double scale = interval_s / (window_squares * static_cast<double>(spectrum.segments));
  for (std::size_t k = 0; k < density.size(); ++k) {
    const bool paired = k > 0 && 2 * k != size;  // 0 Hz and half the sampling rate stand alone
    density[k] *= paired ? 2 * scale : scale;
    spectrum.frequency_hz.push_back(static_cast<double>(k) / (static_cast<double>(size) * interval_s));
  }
  return spectrum;
}

PowerSpectrum mean_of(const std::vector<PowerSpectrum>& spectra) {
  if (spectra.empty()) return {};
  PowerSpectrum mean{.frequency_hz = spectra.front().frequency_hz,
                     .density_v2_per_hz = std::vector<double>(spectra.front().density_v2_per_hz.size(), 0.0),
                     .segments = 0};
  for (const PowerSpectrum& spectrum : spectra) {
    assert(spectrum.density_v2_per_hz.size() == mean.density_v2_per_hz.size());
    for (std::size_t k = 0; k < mean.density_v2_per_hz.size(); ++k)
      mean.density_v2_per_hz[k] += static_cast<double>(spectrum.segments) * spectrum.density_v2_per_hz[k];
    mean.segments += spectrum.segments;
  }
  for (double& density : mean.density_v2_per_hz) density /= std::max(static_cast<double>(mean.segments), 1.0);
  return mean;
}

}  // namespace firstedge
