// Scenes of simulated pulses for tests of the template fit: made, found, fitted and summed up in one call.
#pragma once

#include "firstedge/timing/pulse_search.hpp"
#include "firstedge/timing/template_fit.hpp"

#include "support/template_pulses.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

namespace firstedge::test {

inline constexpr double interval = 0.2e-9;
inline constexpr double ps = 1e-12;

inline const SmoothPulse& pulse_shape() {
  static const SmoothPulse shape;
  return shape;
}
inline double half_time() {
  static const double time = pulse_shape().time_of_fraction(0.5);
  return time;
}
inline const PulseTemplate& exact() {
  static const PulseTemplate made = smooth_template();
  return made;
}

/// A pulse whose half height is at reference_s.
inline Shape pulse_at(double reference_s) {
  return smooth(pulse_shape(), reference_s - half_time());
}
inline ConditionedTrace clean(double reference_s, double height_v, std::size_t samples = 160) {
  return conditioned(sampled(pulse_at(reference_s), height_v, samples, interval), interval);
}
/// The stamp of the highest pulse.
inline Stamp stamp_of_highest(const ConditionedTrace& trace, const TemplateFit& fit,
                              const NoiseModel& noise) {
  const auto pulses = find_pulses(trace, noise, 50, {.threshold_over_noise = 4});
  const auto highest = std::max_element(
      pulses.begin(), pulses.end(), [](const Pulse& a, const Pulse& b) { return a.height_v < b.height_v; });
  if (highest != pulses.end()) return fit(trace, *highest);
  Stamp none;
  none.flags = Flag::not_timed;
  return none;
}

/// Errors of many simulated pulses; truth at every place between the samples.
struct Errors {
  std::vector<Stamp> stamps;  ///< of all pulses, also those not timed
  double coverage = 0, mean_s = 0, deviation_s = 0, bound_s = 0, uncertainty_s = 0, goodness = 0;
  double phase_span_s = 0;  ///< of the mean error, between the eighths of a sample

  std::size_t flagged(Flag flag) const {
    return static_cast<std::size_t>(std::count_if(stamps.begin(), stamps.end(),
                                                  [&](const Stamp& stamp) { return stamp.flags.has(flag); }));
  }
};

struct Scene {
  Shape shape = pulse_at(0);  ///< peak 1, reference at time 0
  double height_over_noise = 60;
  double correlation = 0;  ///< of neighbouring samples
  double step_v = 1.25 / 4096;
  double clip_v = std::numeric_limits<double>::infinity();
  std::size_t samples = 160;
  double reference_s = 10e-9;
  std::uint64_t seed = 3;
};

inline Errors errors_of(const Scene& scene, int pulses, const TemplateFit& fit, const NoiseModel& noise) {
  Random random(scene.seed);
  Errors all;
  std::array<double, 8> sums{};
  std::array<int, 8> counts{};
  double squares = 0;
  for (int i = 0; i < pulses; ++i) {
    const double phase = random.uniform(0, 1);
    const double truth = scene.reference_s + phase * interval;
    const Shape moved = [&](double t) { return scene.shape(t - truth); };
    ConditionedTrace trace = conditioned(sampled(moved, 1, scene.samples, interval), interval);
    add_autoregressive_noise(trace.volts, 1 / scene.height_over_noise, scene.correlation, random);
    if (scene.step_v > 0) quantise(trace.volts, scene.step_v);
    trace.step_v = scene.step_v;
    for (std::size_t k = 0; k < trace.volts.size(); ++k) {
      if (trace.volts[k] < scene.clip_v) continue;
      trace.volts[k] = scene.clip_v;
      trace.clipped.push_back({k, k + 1});
    }
    const Stamp stamp = stamp_of_highest(trace, fit, noise);
    all.stamps.push_back(stamp);
    if (stamp.flags.has(Flag::not_timed)) continue;
    const double error = stamp.time_s - truth;
    all.mean_s += error;
    squares += error * error;
    all.coverage += std::abs(error) < stamp.uncertainty_s ? 1 : 0;
    all.bound_s += stamp.bound_s;
    all.uncertainty_s += stamp.uncertainty_s;
    all.goodness += stamp.goodness;
    const auto bin = static_cast<std::size_t>(phase * 8);
    sums[bin] += error;
    ++counts[bin];
  }
  const auto timed = static_cast<double>(all.stamps.size() - all.flagged(Flag::not_timed));
  for (double* mean : {&all.mean_s, &all.coverage, &all.bound_s, &all.uncertainty_s, &all.goodness})
    *mean /= timed;
  all.deviation_s = std::sqrt(squares / timed - all.mean_s * all.mean_s);
  double low = INFINITY;
  double high = -INFINITY;
  for (std::size_t bin = 0; bin < 8; ++bin) {
    low = std::min(low, sums[bin] / counts[bin]);
    high = std::max(high, sums[bin] / counts[bin]);
  }
  all.phase_span_s = high - low;
  return all;
}

}  // namespace firstedge::test
