#include "firstedge/simulate/chain_shape.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/interpolation.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace firstedge {
namespace {

constexpr double points_per_sample = 32;
constexpr double most_grid_points = 1 << 24;

// Spectrum of everything between the particle's passage and the digitizer at angular frequency w.
std::complex<double> spectrum(const ShapePlan& plan, double sigma_s, double w) {
  const std::complex<double> jw(0, w);
  std::complex<double> value =
      plan.decay_s / (1.0 + jw * plan.decay_s) - plan.rise_s / (1.0 + jw * plan.rise_s);
  value *= std::exp(-0.5 * w * w * sigma_s * sigma_s);
  if (plan.low_cut_hz > 0) {
    const double corner = 2 * std::numbers::pi * plan.low_cut_hz;
    value *= jw / (jw + corner);
  }
  // Wigington & Nahman, Proc. IRE 45 (1957) 166: skin-effect loss, H = exp(-K sqrt(j w)).
  if (plan.skin_s > 0) value *= std::exp(-std::sqrt(jw * plan.skin_s));
  return value;
}

}  // namespace

double gaussian_response_s(double band_hz) {
  return std::sqrt(std::numbers::ln2) / (2 * std::numbers::pi * band_hz);
}

ChainShape::ChainShape(const ShapePlan& plan, double interval_s) : grid_s_(interval_s / points_per_sample) {
  const double sigma_s = gaussian_response_s(plan.band_hz);
  const double before_s = 10 * sigma_s + 4 * interval_s;
  // Long enough for every tail to fall below 1e-9 of the peak; the skin effect's tail, a power law, below
  // 1e-4.
  double after_s = 10 * sigma_s + 24 * plan.decay_s + 4 * interval_s + 400 * plan.skin_s;
  if (plan.low_cut_hz > 0) after_s += 24 / (2 * std::numbers::pi * plan.low_cut_hz);
  double points = 1;
  while (points * grid_s_ < before_s + after_s) points *= 2;
  if (points > most_grid_points) {
    throw Error("shape", "lasts longer than some 500,000 samples",
                "raise low_cut or the interval, or shorten decay");
  }
  const auto size = static_cast<std::size_t>(points);
  std::vector<std::complex<double>> lines(size / 2 + 1);
  const double step_w = 2 * std::numbers::pi / (points * grid_s_);
  for (std::size_t k = 0; k < lines.size(); ++k) {
    const double w = step_w * static_cast<double>(k);
    lines[k] = spectrum(plan, sigma_s, w) * std::polar(1.0, -w * before_s);
  }
  values_ = inverse_fft(std::move(lines), size);
  first_s_ = -before_s;

  const auto top = std::max_element(values_.begin(), values_.end());
  const auto at = static_cast<double>(top - values_.begin());
  // The peak between the grid points: a parabola through the three highest is exact to (grid/edge)^4 in
  // height.
  const double left = top == values_.begin() ? *top : *(top - 1);
  const double right = top + 1 == values_.end() ? *top : *(top + 1);
  const double curvature = left - 2 * *top + right;
  const double shift = curvature < 0 ? 0.5 * (left - right) / curvature : 0;
  peak_s_ = first_s_ + (at + shift) * grid_s_;
  const double peak = *top - 0.25 * (left - right) * shift;
  for (double& value : values_) value /= peak;
}

double ChainShape::operator()(double time_s) const {
  const double position = (time_s - first_s_) / grid_s_;
  if (position < 0 || position > static_cast<double>(values_.size() - 1)) return 0;
  return interpolated(values_, position, Interpolation::quintic);
}

double ChainShape::crossing_s(double fraction) const {
  // Back from the peak to the last grid point below the level, then bisection down to the double.
  double high = peak_s_;
  double low = high;
  while (low > first_s_ && (*this)(low) >= fraction) low -= grid_s_;
  for (int i = 0; i < 80 && low < high; ++i) {
    const double middle = 0.5 * (low + high);
    ((*this)(middle) < fraction ? low : high) = middle;
  }
  return high;
}

}  // namespace firstedge
