// Scenes of clipped pulses for tests: made, found, timed and tallied in one call.
#pragma once

#include "support/small_matrix.hpp"
#include "support/tally.hpp"
#include "support/template_scenes.hpp"

#include <cmath>
#include <cstddef>
#include <functional>
#include <vector>

namespace firstedge::test {

/// Pulses of `overdrive` V before a limit of 1 V.
struct Clipped {
  double overdrive = 2;
  double limit_over_noise = 60;
  double correlation = 0;  ///< of neighbouring samples
  std::uint64_t seed = 21;
};

struct ClippedOutcome {
  std::size_t scenes = 0, untimed = 0;
  std::size_t flagged = 0;  ///< timed ones that carry another flag than clipped
  Tally times;
};

using TimePulse = std::function<Stamp(const ConditionedTrace&, const Pulse&)>;

/// The trace with its samples at the limit told.
inline ConditionedTrace clipped_at(ConditionedTrace trace, double limit_v) {
  for (std::size_t k = 0; k < trace.volts.size(); ++k) {
    if (trace.volts[k] < limit_v) continue;
    trace.volts[k] = limit_v;
    if (!trace.clipped.empty() && trace.clipped.back().last == k) {
      ++trace.clipped.back().last;
    } else {
      trace.clipped.push_back({k, k + 1});
    }
  }
  return trace;
}

/// The bound of the time from the samples below the limit, white noise, height and baseline free.
inline double clipped_bound_s(const ConditionedTrace& trace, double truth_s, double height_v,
                              double noise_v) {
  Matrix columns(3);
  std::size_t run = 0;
  for (std::size_t i = 0; i < trace.volts.size(); ++i) {
    while (run < trace.clipped.size() && trace.clipped[run].last <= i) ++run;
    if (run < trace.clipped.size() && trace.clipped[run].first <= i) continue;
    const double t = static_cast<double>(i) * interval - truth_s + half_time();
    columns[0].push_back(-height_v * pulse_shape().slope_per_s(t));
    columns[1].push_back(pulse_shape()(t));
    columns[2].push_back(1);
  }
  return bounds_in_white_noise(columns, noise_v)[0];
}

/// fraction: of the height at which the method takes its time.
inline ClippedOutcome outcome_of(const Clipped& scene, std::size_t scenes, const NoiseModel& noise,
                                 double fraction, const TimePulse& method) {
  Random random(scene.seed);
  ClippedOutcome outcome{.scenes = scenes, .times = {}};
  const double noise_v = 1 / scene.limit_over_noise;
  const double instant_s = pulse_shape().time_of_fraction(fraction) - half_time();
  for (std::size_t i = 0; i < scenes; ++i) {
    const double half_s = 10e-9 + random.uniform(0, interval);
    ConditionedTrace trace = clean(half_s, scene.overdrive);
    add_autoregressive_noise(trace.volts, noise_v, scene.correlation, random);
    trace = clipped_at(std::move(trace), 1);
    const auto pulses = find_pulses(trace, noise, 50, {});
    const Stamp stamp = pulses.size() == 1 ? method(trace, pulses.front()) : Stamp{.flags = Flag::not_timed};
    if (stamp.flags.has(Flag::not_timed)) {
      ++outcome.untimed;
      continue;
    }
    outcome.flagged += (stamp.flags | Flag::clipped) == FlagSet(Flag::clipped) ? 0 : 1;
    outcome.times.add(stamp, half_s + instant_s,
                      scene.correlation == 0 ? clipped_bound_s(trace, half_s, scene.overdrive, noise_v) : 1);
  }
  return outcome;
}

}  // namespace firstedge::test
