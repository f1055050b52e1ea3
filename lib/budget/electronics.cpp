#include "firstedge/budget/electronics.hpp"

#include "firstedge/signal/noise.hpp"
#include "firstedge/timing/methods.hpp"
#include "firstedge/timing/pulse_search.hpp"
#include "firstedge/timing/template_shape.hpp"
#include "firstedge/timing/time_bound.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

namespace firstedge {
namespace {

constexpr int places = 16;               // of the pulse between two samples
constexpr double quiet_share = 1e-6;     // of the noise variance: leaves the error of the curve alone
constexpr double least_left = 1e-2;      // of the measured variance, after the rounding is taken out
constexpr std::size_t pad_samples = 24;  // quiet samples on either side of the template

NoiseModel scaled(NoiseModel noise, double variance_factor) {
  for (double& covariance : noise.autocovariance_v2) covariance *= variance_factor;
  return noise;
}

// The white part: the least of the model's spectrum c0 + 2 sum c_k cos(k w), in V^2 a sample.
double floor_v2(const NoiseModel& noise) {
  if (noise.autocovariance_v2.size() < 2) return noise.covariance_v2(0);
  constexpr std::size_t points = 256;
  std::vector<double> frequency_hz(points);
  for (std::size_t i = 0; i < points; ++i)
    frequency_hz[i] = 0.5 / noise.interval_s * static_cast<double>(i + 1) / points;
  const std::vector<double> density = model_density(noise, frequency_hz);
  // One-sided density times the Nyquist frequency is the variance a sample of white noise.
  return std::clamp(*std::min_element(density.begin(), density.end()) * 0.5 / noise.interval_s, 0.0,
                    noise.covariance_v2(0));
}

// The noise with the autocovariance of its coloured part, times `scale`, read at lags `ratio` apart.
NoiseModel restretched(const NoiseModel& noise, double ratio, double scale, double interval_s) {
  const double white = floor_v2(noise);
  const auto rest = [&](std::size_t lag) { return noise.covariance_v2(lag) - (lag == 0 ? white : 0); };
  NoiseModel other{.interval_s = interval_s, .autocovariance_v2 = {}, .samples_used = noise.samples_used};
  for (double lag = 0; lag < static_cast<double>(noise.autocovariance_v2.size()); lag += ratio) {
    const auto below = static_cast<std::size_t>(lag);
    const double share = lag - static_cast<double>(below);
    other.autocovariance_v2.push_back(scale * ((1 - share) * rest(below) + share * rest(below + 1)));
  }
  other.autocovariance_v2[0] += white;
  other.autocovariance_v2 = positive_definite(std::move(other.autocovariance_v2));
  return other;
}

// The template at a height, sampled, its time zero at the trigger; `place` is that of the first sample.
ConditionedTrace sampled(const TemplateShape& shape, double height_v, double interval_s, double place) {
  ConditionedTrace trace;
  trace.interval_s = interval_s;
  trace.first_sample_s = shape.first_s() - interval_s * (static_cast<double>(pad_samples) + place);
  const auto size =
      static_cast<std::size_t>((shape.last_s() - shape.first_s()) / interval_s) + 2 * pad_samples;
  for (std::size_t i = 0; i < size; ++i)
    trace.volts.push_back(height_v * shape.value(trace.time_s(static_cast<double>(i))) / shape.peak());
  trace.baseline_window = {0, pad_samples};
  return trace;
}

// Stamps templates with one method and one noise.
class TemplateTimer {
 public:
  TemplateTimer(const Electronics& electronics, const NoiseModel& noise, double baseline_uncertainty_v)
      : noise_(noise), baseline_uncertainty_v_(baseline_uncertainty_v) {
    auto known = std::make_shared<PulseTemplate>(electronics.pulse_template);
    std::fill(known->shape_uncertainty.begin(), known->shape_uncertainty.end(), 0.0);
    method_ = make_timing_method(electronics.timing, {.noise = noise, .pulse_template = known});
  }

  std::optional<Stamp> operator()(ConditionedTrace trace) const {
    trace.baseline_v.uncertainty = baseline_uncertainty_v_;
    std::vector<Pulse> pulses = find_pulses(trace, noise_, 0, {});
    if (pulses.empty()) return std::nullopt;
    const auto highest = std::max_element(
        pulses.begin(), pulses.end(), [](const Pulse& a, const Pulse& b) { return a.height_v < b.height_v; });
    const std::vector<Stamp> stamps = method_.time_pulses(trace, pulses);
    const Stamp& stamp = stamps[static_cast<std::size_t>(highest - pulses.begin())];
    if (!std::isfinite(stamp.time_s) || !std::isfinite(stamp.uncertainty_s)) return std::nullopt;
    return stamp;
  }

 private:
  NoiseModel noise_;
  double baseline_uncertainty_v_ = 0;
  TimingMethod method_;
};

}  // namespace

NoiseModel with_rounding(const NoiseModel& noise, double step_v) {
  NoiseModel rounded = noise;
  if (rounded.autocovariance_v2.empty()) rounded.autocovariance_v2.push_back(0);
  rounded.autocovariance_v2[0] += step_v * step_v / 12;
  return rounded;
}

Electronics electronics_of(const PulseTemplate& pulse_template, const NoiseModel& measured, double step_v,
                           double baseline_uncertainty_v, const Settings& timing) {
  NoiseModel noise = measured;
  if (!noise.autocovariance_v2.empty()) {
    double& variance = noise.autocovariance_v2[0];
    variance = std::max(variance - step_v * step_v / 12, least_left * variance);
    noise.autocovariance_v2 = positive_definite(std::move(noise.autocovariance_v2));
  }
  return {.pulse_template = pulse_template,
          .noise = std::move(noise),
          .step_v = step_v,
          .baseline_uncertainty_v = baseline_uncertainty_v,
          .timing = timing};
}

ElectronicVariance electronic_variance(const Electronics& electronics, std::span<const double> heights_v) {
  const NoiseModel delivered = with_rounding(electronics.noise, electronics.step_v);
  const TimeBound bound(electronics.pulse_template, delivered);
  const TemplateShape shape(electronics.pulse_template);
  const TemplateTimer with(electronics, delivered, electronics.baseline_uncertainty_v);
  const TemplateTimer without(electronics, electronics.noise, electronics.baseline_uncertainty_v);
  const TemplateTimer quiet(electronics, scaled(delivered, quiet_share), 0);
  ElectronicVariance sum;
  double timed = 0;
  for (const double height_v : heights_v) {
    double total = 0, unrounded = 0, time = 0, square = 0, count = 0;
    for (int place = 0; place < places; ++place) {
      const double share = static_cast<double>(place) / places;
      const ConditionedTrace trace = sampled(shape, height_v, electronics.noise.interval_s, share);
      const auto a = with(trace), b = without(trace), c = quiet(trace);
      if (!a || !b || !c) continue;
      const double curve = c->uncertainty_s * c->uncertainty_s;
      total += a->uncertainty_s * a->uncertainty_s - curve;
      unrounded += b->uncertainty_s * b->uncertainty_s - curve;
      time += a->time_s;
      square += a->time_s * a->time_s;
      ++count;
    }
    if (count == 0) continue;
    const double per_place = 1 / count;
    sum.noise_s2 += std::max(unrounded, 0.0) * per_place;
    sum.rounding_s2 += (total - unrounded) * per_place;
    sum.sampling_s2 += std::max(square * per_place - time * time * per_place * per_place, 0.0);
    sum.bound_s += bound(height_v) * bound(height_v);
    ++timed;
  }
  return {.noise_s2 = sum.noise_s2 / timed,
          .rounding_s2 = sum.rounding_s2 / timed,
          .sampling_s2 = sum.sampling_s2 / timed,
          .bound_s = std::sqrt(sum.bound_s / timed)};
}

Electronics with_noise(Electronics electronics, double factor) {
  electronics.noise = scaled(std::move(electronics.noise), factor * factor);
  electronics.baseline_uncertainty_v *= factor;
  return electronics;
}

Electronics with_more_bits(Electronics electronics, int bits) {
  electronics.step_v = std::ldexp(electronics.step_v, -bits);
  return electronics;
}

Electronics with_faster_sampling(Electronics electronics, double factor) {
  electronics.noise = restretched(electronics.noise, 1 / factor, 1, electronics.noise.interval_s / factor);
  return electronics;
}

Electronics with_bandwidth(Electronics electronics, double factor) {
  const TemplateShape shape(electronics.pulse_template);
  PulseTemplate& made = electronics.pulse_template;
  const double peak_s = shape.peak_s();
  const double reference_s = peak_s + (shape.reference_s() - peak_s) / factor;  // of the faster shape
  made.interval_s /= factor;
  made.first_s = (shape.first_s() - peak_s) / factor + peak_s - reference_s;
  const auto size = static_cast<std::size_t>((shape.last_s() - reference_s - made.first_s) / made.interval_s);
  made.shape.clear();
  for (std::size_t i = 0; i < size; ++i) {
    const double t = made.first_s + static_cast<double>(i) * made.interval_s + reference_s - peak_s;
    made.shape.push_back(shape.value(peak_s + (t < 0 ? t * factor : t)) / shape.peak());
  }
  made.shape_uncertainty.assign(size, 0.0);
  electronics.noise = restretched(electronics.noise, factor, factor, electronics.noise.interval_s);
  return electronics;
}

}  // namespace firstedge
