// Closed-form pulses for tests: shapes of height A whose times are known exactly. Times in seconds.
#pragma once

#include "firstedge/signal/conditioned_trace.hpp"

#include <cmath>
#include <cstddef>
#include <functional>
#include <vector>

namespace firstedge::test {

using Shape = std::function<double(double)>;

inline Shape gaussian(double centre_s, double sigma_s) {
  return [=](double t) { return std::exp(-0.5 * (t - centre_s) * (t - centre_s) / (sigma_s * sigma_s)); };
}
inline Shape rc_step(double start_s, double tau_s) {
  return [=](double t) { return t <= start_s ? 0.0 : -std::expm1(-(t - start_s) / tau_s); };
}
/// exp(-t/decay) - exp(-t/rise) from start on: not normalised to its peak.
inline Shape double_exponential(double start_s, double rise_s, double decay_s) {
  return [=](double t) {
    return t <= start_s ? 0.0 : std::exp(-(t - start_s) / decay_s) - std::exp(-(t - start_s) / rise_s);
  };
}
inline Shape ramp(double start_s, double rise_s) {
  return
      [=](double t) { return t <= start_s ? 0.0 : (t >= start_s + rise_s ? 1.0 : (t - start_s) / rise_s); };
}

/// height_v * shape, sampled: sample i at first_s + i * interval_s.
inline std::vector<double> sampled(const Shape& shape, double height_v, std::size_t samples,
                                   double interval_s, double first_s = 0) {
  std::vector<double> volts(samples);
  for (std::size_t i = 0; i < samples; ++i)
    volts[i] = height_v * shape(first_s + static_cast<double>(i) * interval_s);
  return volts;
}

inline ConditionedTrace conditioned(std::vector<double> volts, double interval_s, double first_s = 0) {
  ConditionedTrace trace;
  trace.volts = std::move(volts);
  trace.interval_s = interval_s;
  trace.first_sample_s = first_s;
  return trace;
}

}  // namespace firstedge::test
