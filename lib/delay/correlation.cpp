#include "firstedge/delay/correlation.hpp"

#include "firstedge/delay/padded.hpp"
#include "firstedge/signal/fft.hpp"

#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>

namespace firstedge {
namespace {

using Complex = std::complex<double>;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// c(lag) = sum over all lines of Re(cross exp(j w lag)), with its slope and curvature; lag in samples.
struct CurvePoint {
  double value = 0, slope = 0, curvature = 0;
};

CurvePoint curve_at(const std::vector<Complex>& cross, std::size_t size, double lag) {
  CurvePoint point;
  const double step = 2 * std::numbers::pi / static_cast<double>(size);
  for (std::size_t k = 0; k < cross.size(); ++k) {
    const double weight = k == 0 || 2 * k == size ? 1 : 2;
    const double w = step * static_cast<double>(k);
    const Complex term = weight * cross[k] * std::polar(1.0, w * lag);
    point.value += term.real();
    point.slope -= w * term.imag();
    point.curvature -= w * w * term.real();
  }
  return point;
}

// The extreme within a sample of a lag, by Newton's steps that stay inside.
double extreme_near(const std::vector<Complex>& cross, std::size_t size, double lag) {
  double low = lag - 1, high = lag + 1;
  double at = lag;
  constexpr int most_steps = 60;
  constexpr double close_enough = 1e-10;
  const double sign = curve_at(cross, size, lag).value < 0 ? -1 : 1;
  for (int i = 0; i < most_steps; ++i) {
    const CurvePoint point = curve_at(cross, size, at);
    (sign * point.slope > 0 ? low : high) = at;
    double next = at - point.slope / point.curvature;
    if (!(sign * point.curvature < 0) || next <= low || next >= high) next = 0.5 * (low + high);
    if (std::abs(next - at) < close_enough) return next;
    at = next;
  }
  return at;
}

struct Lobes {
  std::size_t highest = 0;
  double next = 0;  // of the next one, as a share
};

// The highest sample of |c|, and the highest other maximum beyond the first change of sign or rise again.
Lobes lobes_of(const std::vector<double>& curve) {
  Lobes lobes;
  const std::size_t size = curve.size();
  const auto magnitude = [&](std::size_t i) { return std::abs(curve[i % size]); };
  for (std::size_t i = 1; i < size; ++i) {
    if (magnitude(i) > magnitude(lobes.highest)) lobes.highest = i;
  }
  const double top = magnitude(lobes.highest);
  for (std::size_t i = 0; i < size; ++i) {
    const bool is_lobe = magnitude(i) > magnitude(i + 1) && magnitude(i) >= magnitude(i + size - 1);
    if (is_lobe && i != lobes.highest && top > 0) lobes.next = std::max(lobes.next, magnitude(i) / top);
  }
  return lobes;
}

}  // namespace

CorrelationDelay correlation_delay(const MeanTrace& before, const MeanTrace& after) {
  assert(before.size() == after.size());
  const std::size_t size = padded_size(2 * before.size());
  const std::vector<Complex> x = padded_fft(before.volts, size), y = padded_fft(after.volts, size);
  std::vector<Complex> cross(x.size());
  const std::vector<double> band = signal_band(before, size);
  for (std::size_t k = 0; k < x.size(); ++k) cross[k] = band[k] * std::conj(x[k]) * y[k];
  const Lobes lobes = lobes_of(inverse_fft(cross, size));
  const double whole = lobes.highest < size / 2
                           ? static_cast<double>(lobes.highest)
                           : static_cast<double>(lobes.highest) - static_cast<double>(size);
  const double lag = extreme_near(cross, size, whole);
  const CurvePoint top = curve_at(cross, size, lag);

  const std::vector<double> noise_x = mean_noise_power(before, size), noise_y = mean_noise_power(after, size);
  double slope_variance = 0, value_variance = 0, power_x = 0, power_y = 0;
  const double step = 2 * std::numbers::pi / static_cast<double>(size);
  for (std::size_t k = 0; k < x.size(); ++k) {
    const double twice = k == 0 || 2 * k == size ? 1 : 2;
    const double w = step * static_cast<double>(k);
    // The measured powers hold the noise already: once too often in its square.
    const double both = noise_x[k] * noise_y[k] * static_cast<double>(before.size());
    const double variance =
        std::max(both, std::norm(x[k]) * noise_y[k] + std::norm(y[k]) * noise_x[k] - both);
    slope_variance += twice * band[k] * band[k] * w * w * variance;
    value_variance += twice * band[k] * band[k] * variance;
    power_x += twice * band[k] * std::norm(x[k]);
    power_y += twice * band[k] * std::norm(y[k]);
  }
  // Transforms of padded samples: a sum over n lines of a quadratic form counts 1/n.
  slope_variance *= static_cast<double>(size);
  value_variance *= static_cast<double>(size);
  CorrelationDelay found;
  if (!(power_x > 0) || !(power_y > 0) || top.curvature == 0) {
    found.delay_s = {nan, nan};
    return found;
  }
  const double offset_s = after.head.first_sample_s - before.head.first_sample_s;
  found.delay_s = {lag * before.interval_s() + offset_s,
                   std::sqrt(slope_variance) / std::abs(top.curvature) * before.interval_s()};
  found.coefficient = top.value / std::sqrt(power_x * power_y);
  found.next_lobe = lobes.next;
  constexpr double deviations = 3;
  found.ambiguous = (1 - lobes.next) * std::abs(top.value) < deviations * std::sqrt(2 * value_variance);
  return found;
}

}  // namespace firstedge
