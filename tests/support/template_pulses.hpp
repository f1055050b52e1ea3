// Templates without error and noise with known covariance, for tests of the template fit.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

namespace firstedge::test {

/// A template without error of a shape with peak 1 whose reference instant is at reference_s.
inline PulseTemplate exact_template(const Shape& shape, double reference_s, double interval_s, double first_s,
                                    double last_s) {
  PulseTemplate made;
  made.interval_s = interval_s;
  made.first_s = first_s;
  const auto points = static_cast<std::size_t>(std::lround((last_s - first_s) / interval_s)) + 1;
  made.shape = sampled([&](double t) { return shape(t + reference_s); }, 1, points, interval_s, first_s);
  made.shape_uncertainty.assign(points, 0.0);
  return made;
}

/// That of the smooth pulse (0.9 ns edge) at 5 GS/s, 8 points a sample, from 2 ns before its half height to
/// where it is back to 0.2 %.
inline PulseTemplate smooth_template() {
  const SmoothPulse pulse;
  return exact_template(pulse, pulse.time_of_fraction(0.5), 25e-12, -2e-9, 19e-9);
}

/// First-order autoregressive noise: covariance deviation^2 * correlation^k.
inline NoiseModel autoregressive_noise(double deviation_v, double correlation, double interval_s) {
  NoiseModel noise = white_noise(deviation_v, interval_s);
  constexpr std::size_t lags = 200;
  for (std::size_t k = 1; k < lags && correlation != 0; ++k)
    noise.autocovariance_v2.push_back(noise.autocovariance_v2.back() * correlation);
  return noise;
}
inline void add_autoregressive_noise(std::vector<double>& volts, double deviation_v, double correlation,
                                     Random& random) {
  double last = random.normal(0, deviation_v);
  for (double& value : volts) {
    value += last;
    last = correlation * last + random.normal(0, deviation_v * std::sqrt(1 - correlation * correlation));
  }
}

inline void quantise(std::vector<double>& volts, double step_v) {
  for (double& value : volts) value = step_v * std::round(value / step_v);
}

}  // namespace firstedge::test
