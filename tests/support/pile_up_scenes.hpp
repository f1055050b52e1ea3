// Scenes of two overlapping pulses for tests: made, found, fitted and tallied in one call.
#pragma once

#include "support/small_matrix.hpp"
#include "support/tally.hpp"
#include "support/template_scenes.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

namespace firstedge::test {

struct PileUp {
  double separation_s = 0;
  double first_v = 1, second_v = 1;
  double noise_v = 1.0 / 60;
  double correlation = 0;  ///< of neighbouring samples
  std::uint64_t seed = 41;
};

struct PileUpOutcome {
  std::size_t scenes = 0;
  std::size_t told_apart = 0;  ///< scenes with two stamps
  std::size_t more = 0;        ///< with more
  std::size_t flagged = 0;     ///< with a stamp that says not to trust it: unresolved, low_signal or poor_fit
  std::size_t silent = 0;      ///< with one stamp that says nothing
  std::array<Tally, 2> pulses;  ///< of the two, where they were told apart
};

inline constexpr std::size_t pile_up_samples = 300;

/// The bounds of both times with heights and baseline free, white noise.
inline std::array<double, 2> pile_up_bounds_s(const PileUp& scene, double first_s) {
  Matrix columns(5, std::vector<double>(pile_up_samples, 1.0));
  const std::array<double, 2> times{first_s, first_s + scene.separation_s};
  const std::array<double, 2> heights{scene.first_v, scene.second_v};
  for (std::size_t i = 0; i < pile_up_samples; ++i) {
    for (std::size_t k = 0; k < 2; ++k) {
      const double t = static_cast<double>(i) * interval - times[k] + half_time();
      columns[k][i] = -heights[k] * pulse_shape().slope_per_s(t);
      columns[2 + k][i] = pulse_shape()(t);
    }
  }
  const std::vector<double> bounds = bounds_in_white_noise(columns, scene.noise_v);
  return {bounds[0], bounds[1]};
}

inline PileUpOutcome outcome_of(const PileUp& scene, std::size_t scenes, const TemplateFit& fit,
                                const NoiseModel& noise) {
  Random random(scene.seed);
  PileUpOutcome outcome{.scenes = scenes, .pulses = {}};
  const std::array<double, 2> bounds = pile_up_bounds_s(scene, 20e-9);
  for (std::size_t i = 0; i < scenes; ++i) {
    const double first_s = 20e-9 + random.uniform(0, interval);
    const std::array<double, 2> truth{first_s, first_s + scene.separation_s};
    std::vector<double> volts = sampled(pulse_at(truth[0]), scene.first_v, pile_up_samples, interval);
    const std::vector<double> other = sampled(pulse_at(truth[1]), scene.second_v, pile_up_samples, interval);
    for (std::size_t k = 0; k < volts.size(); ++k) volts[k] += other[k];
    add_autoregressive_noise(volts, scene.noise_v, scene.correlation, random);
    const ConditionedTrace trace = conditioned(std::move(volts), interval);
    std::vector<Stamp> stamps = fit(trace, find_pulses(trace, noise, 50, {}));
    std::erase_if(stamps, [](const Stamp& stamp) { return stamp.flags.has(Flag::not_timed); });
    std::sort(stamps.begin(), stamps.end(),
              [](const Stamp& a, const Stamp& b) { return a.time_s < b.time_s; });
    const bool flagged = std::any_of(stamps.begin(), stamps.end(), [](const Stamp& stamp) {
      return stamp.flags.has_any(Flag::unresolved | Flag::low_signal | Flag::poor_fit);
    });
    outcome.flagged += flagged ? 1 : 0;
    outcome.more += stamps.size() > 2 ? 1 : 0;
    if (stamps.size() != 2) {
      outcome.silent += stamps.size() == 1 && !flagged ? 1 : 0;
      continue;
    }
    ++outcome.told_apart;
    for (std::size_t k = 0; k < 2; ++k) outcome.pulses[k].add(stamps[k], truth[k], bounds[k]);
  }
  return outcome;
}

}  // namespace firstedge::test
