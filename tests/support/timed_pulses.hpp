// Simulated pulses for tests of timing methods: made, found and stamped in one call.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/timing/pulse_search.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <cmath>
#include <functional>
#include <vector>

namespace firstedge::test {

using Method = std::function<Stamp(const ConditionedTrace&, const Pulse&, const NoiseModel&)>;

/// The stamp of the highest pulse of a trace; an untimed one if there is none.
inline Stamp stamp_of(const ConditionedTrace& trace, const NoiseModel& noise, const Method& method) {
  const std::vector<Pulse> pulses = find_pulses(trace, noise, 50, {});
  const Pulse* highest = nullptr;
  for (const Pulse& pulse : pulses) {
    if (highest == nullptr || pulse.height_v > highest->height_v) highest = &pulse;
  }
  if (highest == nullptr) {
    Stamp none;
    none.flags = Flag::not_timed;
    return none;
  }
  return method(trace, *highest, noise);
}

/// The stamp of a noiseless shape.
inline Stamp noiseless_stamp(const Shape& shape, double height_v, std::size_t samples, double interval_s,
                             const Method& method, double first_s = 0) {
  return stamp_of(conditioned(sampled(shape, height_v, samples, interval_s, first_s), interval_s, first_s),
                  white_noise(0, interval_s), method);
}

/// The bench of the acceptance: 5 GS/s, 12 bit, white noise, smooth 0.9 ns edges at every phase of the
/// samples.
struct Bench {
  double height_over_noise = 60;
  double interval_s = 0.2e-9;
  double step_v = 1.25 / 4096;  ///< of pulses of 1 V; 0: not quantised
  std::size_t samples = 150;
  double baseline_uncertainty_v = 0;
  std::uint64_t seed = 1;
};

/// What came of many pulses. Errors are time minus truth, in s.
struct Outcome {
  std::size_t pulses = 0, untimed = 0;
  double mean_s = 0, deviation_s = 0, uncertainty_s = 0;  ///< uncertainty: root mean square
  double coverage = 0;                                    ///< share within one stated uncertainty
  double pull_mean = 0, pull_deviation = 0;
};

/// Stamps `pulses` pulses of the bench. truth_s: the time that the method should give for a pulse that starts
/// at 0.
inline Outcome outcome_of(const Bench& bench, const SmoothPulse& shape, double truth_s, std::size_t pulses,
                          const Method& method) {
  Random random(bench.seed);
  const double deviation_v = 1 / bench.height_over_noise;
  const NoiseModel noise = white_noise(deviation_v, bench.interval_s);
  Outcome outcome{.pulses = pulses};
  double sum = 0, squares = 0, variances = 0, pulls = 0, pull_squares = 0;
  std::size_t within = 0;
  for (std::size_t i = 0; i < pulses; ++i) {
    const double start_s = 10e-9 + random.uniform(0, bench.interval_s);
    std::vector<double> volts = sampled(smooth(shape, start_s), 1, bench.samples, bench.interval_s);
    random.add_white_noise(volts, deviation_v);
    const double shift_v = random.normal(0, 1) * bench.baseline_uncertainty_v;
    for (double& v : volts) {
      if (bench.step_v > 0) v = std::round(v / bench.step_v) * bench.step_v;
      v += shift_v;
    }
    ConditionedTrace trace = conditioned(std::move(volts), bench.interval_s);
    trace.step_v = bench.step_v;
    trace.baseline_v.uncertainty = bench.baseline_uncertainty_v;
    const Stamp stamp = stamp_of(trace, noise, method);
    if (stamp.flags.has(Flag::not_timed)) {
      ++outcome.untimed;
      continue;
    }
    const double error_s = stamp.time_s - start_s - truth_s;
    const double pull = error_s / stamp.uncertainty_s;
    sum += error_s;
    squares += error_s * error_s;
    variances += stamp.uncertainty_s * stamp.uncertainty_s;
    pulls += pull;
    pull_squares += pull * pull;
    within += std::abs(pull) < 1 ? 1 : 0;
  }
  const auto timed = static_cast<double>(pulses - outcome.untimed);
  outcome.mean_s = sum / timed;
  outcome.deviation_s = std::sqrt(squares / timed - outcome.mean_s * outcome.mean_s);
  outcome.uncertainty_s = std::sqrt(variances / timed);
  outcome.coverage = static_cast<double>(within) / timed;
  outcome.pull_mean = pulls / timed;
  outcome.pull_deviation = std::sqrt(pull_squares / timed - outcome.pull_mean * outcome.pull_mean);
  return outcome;
}

}  // namespace firstedge::test
