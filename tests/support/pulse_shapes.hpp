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

/// A double exponential (rise, decay) seen through a Gaussian response of standard deviation response_s, peak
/// 1: what a band-limited chain makes of a fast pulse. Closed form: exp(-t/tau) through a Gaussian is
/// exp(a^2/2 - t/tau) erfc((a - t/s)/sqrt 2)/2 with a = s/tau (the exponentially modified Gaussian of
/// chromatography: E. Grushka, Anal. Chem. 44 (1972) 1733).
class SmoothPulse {
 public:
  /// As it stands: 0.9 ns from 10 % to 90 %, 3 ns decay.
  SmoothPulse() : SmoothPulse(0.3689044e-9, 0.2213426e-9, 3e-9) {}
  SmoothPulse(double response_s, double rise_s, double decay_s)
      : response_s_(response_s), rise_s_(rise_s), decay_s_(decay_s) {
    double low = -10 * response_s, high = 3 * (response_s + decay_s);
    for (int i = 0; i < 200; ++i) {  // golden-section would do; thirds are plain and exact enough
      const double left = low + (high - low) / 3, right = high - (high - low) / 3;
      (raw(left) < raw(right) ? low : high) = raw(left) < raw(right) ? left : right;
    }
    peak_s_ = low;
    peak_ = raw(low);
  }
  double operator()(double t) const { return raw(t) / peak_; }
  double peak_s() const { return peak_s_; }
  /// When the leading edge crosses a fraction of the peak.
  double time_of_fraction(double fraction) const {
    double low = -20 * response_s_, high = peak_s_;
    for (int i = 0; i < 100; ++i) {
      const double middle = 0.5 * (low + high);
      ((*this)(middle) < fraction ? low : high) = middle;
    }
    return low;
  }
  double transition_s() const { return time_of_fraction(0.9) - time_of_fraction(0.1); }
  double slope_per_s(double t) const {
    const double step = 1e-4 * response_s_;
    return ((*this)(t + step) - (*this)(t - step)) / (2 * step);
  }

 private:
  double raw(double t) const { return smeared(t, decay_s_) - smeared(t, rise_s_); }
  double smeared(double t, double tau) const {
    if (t < -20 * response_s_) return 0;
    const double a = response_s_ / tau;
    return 0.5 * std::exp(0.5 * a * a - t / tau) * std::erfc((a - t / response_s_) / std::sqrt(2.0));
  }
  double response_s_, rise_s_, decay_s_, peak_s_ = 0, peak_ = 1;
};
/// The shape moved by start_s.
inline Shape smooth(const SmoothPulse& pulse, double start_s) {
  return [=](double t) { return pulse(t - start_s); };
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
