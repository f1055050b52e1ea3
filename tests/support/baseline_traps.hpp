// Traps for the baseline: records whose level does not stand still, or has something else in it, around a
// pulse whose time is known.
#pragma once

#include "support/template_scenes.hpp"

#include <cmath>
#include <numbers>
#include <string>
#include <vector>

namespace firstedge::test {

inline constexpr std::size_t trap_samples = 400;
inline constexpr double trapped_pulse_s = 50e-9;  ///< where the pulse stands, to a sample
inline constexpr double trap_noise_v = 1.0 / 60;  ///< of pulses of 1 V

/// What disturbs the baseline, as volts at a time. Drawn anew for each record.
struct Trap {
  std::string name;
  Shape (*draw)(Random&);
};

/// A decaying oscillation from start_s on.
inline Shape ringing(double start_s, double amplitude_v, double period_s, double decay_s, double phase) {
  return [=](double t) {
    if (t < start_s) return 0.0;
    return amplitude_v * std::exp(-(t - start_s) / decay_s) *
           std::sin(2 * std::numbers::pi * (t - start_s) / period_s + phase);
  };
}

/// The pulse of height_v at reference_s behind an AC coupling of one pole: an exponential of time constant a
/// becomes (tau exp(-t/a) - a exp(-t/tau))/(tau - a) there (derived), and the pulse is two of them through a
/// Gaussian.
inline Shape coupled(double reference_s, double height_v, double coupling_s) {
  constexpr double response_s = 0.3689044e-9, rise_s = 0.2213426e-9, decay_s = 3e-9;  // of SmoothPulse()
  const auto smeared = [](double t, double tau) {
    if (t < -20 * response_s) return 0.0;
    const double a = response_s / tau;
    return 0.5 * std::exp(0.5 * a * a - t / tau) * std::erfc((a - t / response_s) / std::numbers::sqrt2);
  };
  const auto passed = [=](double t, double a) {
    return (coupling_s * smeared(t, a) - a * smeared(t, coupling_s)) / (coupling_s - a);
  };
  const double peak = smeared(pulse_shape().peak_s(), decay_s) - smeared(pulse_shape().peak_s(), rise_s);
  return [=](double t) {
    const double since = t - reference_s + half_time();
    return height_v / peak * (passed(since, decay_s) - passed(since, rise_s));
  };
}

/// Sizes in height_v of the pulse; one standard deviation of the noise is 0.0167.
inline const std::vector<Trap>& baseline_traps() {
  static const std::vector<Trap> traps{
      {"none", [](Random&) -> Shape { return [](double) { return 0.0; }; }},
      {"pulse in the window",
       [](Random& random) -> Shape {
         return [at = pulse_at(random.uniform(5e-9, 40e-9)), v = random.uniform(0.15, 1)](double t) {
           return v * at(t);
         };
       }},
      {"small pulse in the window",
       [](Random& random) -> Shape {
         return [at = pulse_at(random.uniform(5e-9, 40e-9)), v = random.uniform(0.03, 0.1)](double t) {
           return v * at(t);
         };
       }},
      {"weak drift",  // 2 standard deviations over the record
       [](Random& random) -> Shape {
         const double sign = random.uniform(-1, 1) < 0 ? -1 : 1;
         return [=](double t) { return sign * 2 * trap_noise_v * t / 80e-9; };
       }},
      {"strong drift",  // 10
       [](Random& random) -> Shape {
         const double sign = random.uniform(-1, 1) < 0 ? -1 : 1;
         return [=](double t) { return sign * 10 * trap_noise_v * t / 80e-9; };
       }},
      {"hum",  // a period of two records, 8 standard deviations from top to top
       [](Random& random) -> Shape {
         const double phase = random.uniform(0, 2 * std::numbers::pi);
         return
             [=](double t) { return 4 * trap_noise_v * std::sin(2 * std::numbers::pi * t / 160e-9 + phase); };
       }},
      {"ringing from before the record",
       [](Random& random) -> Shape {
         return ringing(-1e-9, 0.15, 6e-9, 30e-9, random.uniform(0, 2 * std::numbers::pi));
       }},
      {"ringing after an earlier pulse",
       [](Random& random) -> Shape {
         const double at = random.uniform(8e-9, 30e-9);
         const Shape pulse = pulse_at(at);
         const Shape rings = ringing(at + 3e-9, 0.1, 6e-9, 15e-9, random.uniform(0, 2 * std::numbers::pi));
         return [=](double t) { return pulse(t) + rings(t); };
       }},
      {"droop of a large pulse before the record",
       [](Random& random) -> Shape { return coupled(random.uniform(-60e-9, -25e-9), 5, 100e-9); }},
      {"droop of an earlier pulse",
       [](Random& random) -> Shape { return coupled(random.uniform(8e-9, 30e-9), 2, 100e-9); }},
  };
  return traps;
}

/// A trace with the trap and a pulse of 1 V whose half height is at reference_s, through a 12-bit digitizer.
inline std::vector<double> trapped(const Trap& trap, double reference_s, Random& random) {
  const Shape disturbance = trap.draw(random);
  const Shape pulse = pulse_at(reference_s);
  std::vector<double> volts =
      sampled([&](double t) { return pulse(t) + disturbance(t); }, 1, trap_samples, interval);
  random.add_white_noise(volts, trap_noise_v);
  quantise(volts, 4.0 / 4096);
  return volts;
}

}  // namespace firstedge::test
