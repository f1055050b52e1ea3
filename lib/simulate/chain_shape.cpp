#include "firstedge/simulate/chain_shape.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/interpolation.hpp"
#include "firstedge/signal/skin_line.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace firstedge {
namespace {

constexpr double points_per_sample = 32;
constexpr double most_grid_points = 1 << 24;

// Spectrum of everything between the particle's passage and the line or the digitizer, at angular frequency
// w.
std::complex<double> spectrum(const ShapePlan& plan, double sigma_s, double w) {
  const std::complex<double> jw(0, w);
  std::complex<double> value =
      plan.decay_s / (1.0 + jw * plan.decay_s) - plan.rise_s / (1.0 + jw * plan.rise_s);
  value *= std::exp(-0.5 * w * w * sigma_s * sigma_s);
  if (plan.low_cut_hz > 0) {
    const double corner = 2 * std::numbers::pi * plan.low_cut_hz;
    value *= jw / (jw + corner);
  }
  if (plan.skin_s > 0) value *= SkinLine{0, std::sqrt(plan.skin_s)}.transfer(w);
  return value;
}

bool is_lossy(const ShapePlan& plan) {
  return plan.skin_s > 0 || (plan.line && plan.line->skin_s > 0);
}

// How long the pulse lasts after the passage: every tail is below 1e-9 of the peak then; the skin effect's, a
// power law, below 1e-4.
double lasts_s(const ShapePlan& plan, double sigma_s, double interval_s) {
  double after_s = 10 * sigma_s + 24 * plan.decay_s + 4 * interval_s + 400 * plan.skin_s;
  if (plan.low_cut_hz > 0) after_s += 24 / (2 * std::numbers::pi * plan.low_cut_hz);
  if (!plan.line) return after_s;
  // Seen at the near end, a wave has gone through the line twice: twice the loss constant.
  const double ways = plan.line->seen == LinePlan::Seen::near_end ? 4 : 1;
  return after_s + line_lasts_s(*plan.line) + 400 * ways * plan.line->skin_s;
}

struct Top {
  double position = 0, value = 0;
};

// The peak between the grid points: a parabola through the three highest is exact to (grid/edge)^4 in height.
Top top_of(const std::vector<double>& values) {
  const auto top = std::max_element(values.begin(), values.end());
  const double left = top == values.begin() ? *top : *(top - 1);
  const double right = top + 1 == values.end() ? *top : *(top + 1);
  const double curvature = left - 2 * *top + right;
  const double shift = curvature < 0 ? 0.5 * (left - right) / curvature : 0;
  return {static_cast<double>(top - values.begin()) + shift, *top - 0.25 * (left - right) * shift};
}

}  // namespace

double gaussian_response_s(double band_hz) {
  return std::sqrt(std::numbers::ln2) / (2 * std::numbers::pi * band_hz);
}

ChainShape::ChainShape(const ShapePlan& plan, double interval_s) : grid_s_(interval_s / points_per_sample) {
  const double sigma_s = gaussian_response_s(plan.band_hz);
  const double before_s = 10 * sigma_s + 4 * interval_s;
  const double all_s = before_s + lasts_s(plan, sigma_s, interval_s);
  double points = 1;
  while (points * grid_s_ < all_s && points <= most_grid_points) points *= 2;
  if (points > most_grid_points) {
    throw Error("shape", "lasts longer than some 500,000 samples",
                "raise low_cut or the interval, or shorten decay or the line");
  }
  const auto size = static_cast<std::size_t>(points);
  std::vector<std::complex<double>> lines(size / 2 + 1);
  const double step_w = 2 * std::numbers::pi / (points * grid_s_);
  for (std::size_t k = 0; k < lines.size(); ++k) {
    const double w = step_w * static_cast<double>(k);
    lines[k] = spectrum(plan, sigma_s, w) * std::polar(1.0, -w * before_s);
  }
  values_ = inverse_fft(lines, size);
  first_s_ = -before_s;
  Top top = top_of(values_);  // of the pulse that is put into the line
  const double scale = top.value - (plan.skin_s > 0 ? values_.front() : 0);
  if (plan.line) {
    for (std::size_t k = 0; k < lines.size(); ++k)
      lines[k] *= line_response(*plan.line, step_w * static_cast<double>(k));
    values_ = inverse_fft(std::move(lines), size);
  }
  // The tail of a loss goes round to before the pulse, where there is nothing: nearly a constant.
  if (is_lossy(plan)) {
    const double gone_round = values_.front();
    for (double& value : values_) value -= gone_round;
  }
  if (plan.line || is_lossy(plan)) top = top_of(values_);
  peak_s_ = first_s_ + top.position * grid_s_;
  peak_ = plan.line ? top.value / scale : 1;
  for (double& value : values_) value /= scale;
}

double ChainShape::operator()(double time_s) const {
  const double position = (time_s - first_s_) / grid_s_;
  if (position < 0 || position > static_cast<double>(values_.size() - 1)) return 0;
  return interpolated(values_, position, Interpolation::quintic);
}

double ChainShape::crossing_s(double fraction) const {
  // Back from the peak to the last grid point below the level, then bisection down to the double.
  const double level = fraction * peak_;
  double high = peak_s_;
  double low = high;
  while (low > first_s_ && (*this)(low) >= level) low -= grid_s_;
  for (int i = 0; i < 80 && low < high; ++i) {
    const double middle = 0.5 * (low + high);
    ((*this)(middle) < level ? low : high) = middle;
  }
  return high;
}

}  // namespace firstedge
