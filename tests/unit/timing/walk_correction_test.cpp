// Claims of the walk correction: learnt from pulses of many heights, it takes the walk of a leading edge out
// of other pulses, by each of its measures, and says how well it knows it.
#include "firstedge/core/error.hpp"
#include "firstedge/timing/constant_fraction.hpp"
#include "firstedge/timing/methods.hpp"
#include "firstedge/timing/walk_learning.hpp"

#include "support/clipped_scenes.hpp"
#include "support/tally.hpp"
#include "support/template_scenes.hpp"

#include <array>
#include <cmath>
#include <deque>
#include <memory>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace test;  // scenes

constexpr double noise_v = 1e-3;  // heights from 60 to 1200 times it
constexpr double lowest_v = 0.06, highest_v = 1.2;
constexpr double threshold_v = 0.02;
constexpr std::size_t bins = 8;  // of the logarithm of the height

const NoiseModel& quiet() {
  static const NoiseModel noise = white_noise(noise_v, interval);
  return noise;
}

/// Pulses of heights spread evenly over the logarithm, one a trace, with the true instants of their half
/// heights.
struct PulseRun {
  std::deque<ConditionedTrace> traces;
  std::vector<PulseInTrace> pulses;
  std::vector<double> truth_s, height_v;
};
PulseRun run_of(std::size_t pulses, std::uint64_t seed, double clip_v = INFINITY) {
  Random random(seed);
  PulseRun run;
  while (run.pulses.size() < pulses) {
    const double height = lowest_v * std::exp(random.uniform(0, std::log(highest_v / lowest_v)));
    const double truth = 8e-9 + random.uniform(0, interval);
    ConditionedTrace trace = clean(truth, height, 190);
    random.add_white_noise(trace.volts, noise_v);
    run.traces.push_back(clipped_at(std::move(trace), clip_v));
    const auto found = find_pulses(run.traces.back(), quiet(), 50, {});
    if (found.size() != 1) continue;
    run.pulses.push_back({&run.traces.back(), found.front()});
    run.truth_s.push_back(truth);
    run.height_v.push_back(height);
  }
  return run;
}

Settings settings_of(const std::string& walk) {
  Settings settings("bench.json, timing/0");
  settings.set("method", "leading_edge");
  settings.set("threshold", threshold_v);
  settings.set("walk", walk);
  return settings;
}

ChannelKnowledge knowledge() {
  return {.noise = quiet(), .pulse_template = std::make_shared<PulseTemplate>(exact())};
}

std::array<Tally, bins> tallies_of(const TimingMethod& method, const PulseRun& run) {
  std::array<Tally, bins> tallies;
  for (std::size_t i = 0; i < run.pulses.size(); ++i) {
    const Stamp stamp = method.time_pulses(*run.pulses[i].trace, std::span(&run.pulses[i].pulse, 1)).front();
    if (stamp.flags.has(Flag::not_timed)) continue;
    const double place = std::log(run.height_v[i] / lowest_v) / std::log(highest_v / lowest_v);
    tallies[std::min(static_cast<std::size_t>(place * bins), bins - 1)].add(stamp, run.truth_s[i], 1);
  }
  return tallies;
}

class walk_correction : public testing::TestWithParam<const char*> {};

// Target: residual walk at most 5 ps over heights 1:20 at high signal-to-noise, out of sample.
TEST_P(walk_correction, leaves_less_than_five_picoseconds_over_heights_of_one_to_twenty) {
  static const PulseRun learning = run_of(2000, 11);
  static const PulseRun judging = run_of(6000, 12);
  ChannelKnowledge known = knowledge();
  const Settings settings = settings_of(GetParam());
  known.walk = std::make_shared<WalkCorrection>(
      learn_walk(settings, known, learning.pulses, walk_reference(known, learning.pulses)));
  EXPECT_GE(known.walk->walk.points_used, 1980U);  // a biweight leaves out next to none of Gaussian scatter
  const TimingMethod method = make_timing_method(settings, known);
  std::size_t timed = 0;
  double within = 0;
  for (const Tally& bin : tallies_of(method, judging)) {
    timed += bin.count();
    within += bin.within_one() * static_cast<double>(bin.count());
    // The bins hold 750 pulses each, which know a mean to 0.5 ps, by slew to 1.8 ps: their chance is on top.
    EXPECT_LT(std::abs(bin.bias_s()), 5 * ps + 3.5 * bin.bias_error_s());
    EXPECT_LT(bin.bias_error_s(), 2.5 * ps);
  }
  EXPECT_EQ(timed, judging.pulses.size());
  // 6,000 pulses: 3.5 standard errors are 2.1 %; the curve's own error, shared by pulses of one height, is
  // below a tenth of the uncertainties and takes 1 % at most.
  EXPECT_NEAR(within / static_cast<double>(timed), 0.6827, 0.031);
  // The walk that was there.
  const auto plain = tallies_of(make_timing_method(settings_of("none"), knowledge()), judging);
  EXPECT_GT(plain.front().bias_s() - plain.back().bias_s(), 300 * ps);
}

INSTANTIATE_TEST_SUITE_P(measures, walk_correction, testing::Values("height", "time_over_threshold", "slew"));

TEST(walk_correction_by_height, is_as_sharp_as_a_constant_fraction_at_the_same_level) {
  const PulseRun learning = run_of(600, 21);
  ChannelKnowledge known = knowledge();
  known.walk = std::make_shared<WalkCorrection>(
      learn_walk(settings_of("height"), known, learning.pulses, walk_reference(known, learning.pulses)));
  const TimingMethod method = make_timing_method(settings_of("height"), known);
  // Pulses of one height, 0.1 V: the level is a fifth of it.
  Random random(5);
  Tally corrected, constant;
  const double earlier = pulse_shape().time_of_fraction(0.2) - half_time();
  constexpr std::size_t pulses = 2000;
  for (std::size_t i = 0; i < pulses; ++i) {
    const double truth = 10e-9 + random.uniform(0, interval);
    ConditionedTrace trace = clean(truth, 0.1, 190);
    random.add_white_noise(trace.volts, noise_v);
    const Pulse pulse = find_pulses(trace, quiet(), 50, {}).front();
    corrected.add(method.time_pulses(trace, std::span(&pulse, 1)).front(), truth, 1);
    constant.add(constant_fraction(trace, pulse, quiet(), {.fraction = 0.2}), truth + earlier, 1);
  }
  // Both are the same combination of samples when the curve's slope is right; 2,000 pulses know a ratio of
  // spreads of the same pulses to 1 % and better.
  EXPECT_NEAR(corrected.spread_s() / constant.spread_s(), 1, 0.03);
  EXPECT_NEAR(corrected.within_one(), constant.within_one(), 0.02);
}

TEST(walk_correction_by_time_over_threshold, holds_for_clipped_pulses) {
  ChannelKnowledge known = knowledge();
  const Settings settings = settings_of("time_over_threshold");
  const PulseRun learning = run_of(1000, 31, 0.4);
  known.walk = std::make_shared<WalkCorrection>(
      learn_walk(settings, known, learning.pulses, walk_reference(known, learning.pulses)));
  const PulseRun judging = run_of(2000, 32, 0.4);
  std::size_t timed = 0;
  for (const Tally& bin : tallies_of(make_timing_method(settings, known), judging)) {
    timed += bin.count();
    EXPECT_LT(std::abs(bin.bias_s()), 5 * ps);
  }
  EXPECT_EQ(timed, judging.pulses.size());
}

TEST(walk_learning, odd_pulses_do_not_pull_the_curve) {
  PulseRun run = run_of(600, 41);
  std::vector<Stamp> reference;
  Random random(1);
  for (std::size_t i = 0; i < run.pulses.size(); ++i) {
    Stamp stamp;
    stamp.height_v = run.height_v[i];
    // One in twenty has a reference that is off by a nanosecond and more.
    stamp.time_s = run.truth_s[i] + (i % 20 == 0 ? random.uniform(1e-9, 3e-9) : random.normal(0, 3 * ps));
    stamp.uncertainty_s = 3 * ps;
    reference.push_back(stamp);
  }
  const WalkCorrection odd =
      learn_walk(run.pulses, reference, quiet(), {.threshold_v = threshold_v}, WalkMeasure::height);
  EXPECT_LE(odd.walk.points_used, 572U);  // 570 are sound
  for (std::size_t i = 0; i < run.pulses.size(); ++i) reference[i].time_s = run.truth_s[i];
  const WalkCorrection sound =
      learn_walk(run.pulses, reference, quiet(), {.threshold_v = threshold_v}, WalkMeasure::height);
  for (const double height : {0.08, 0.15, 0.4, 1.0}) {
    const CurveValue a = value_at(odd.walk, height);
    const CurveValue b = value_at(sound.walk, height);
    EXPECT_NEAR(a.value, b.value, 4 * std::hypot(a.uncertainty, b.uncertainty)) << height;
  }
}

TEST(falling_curve, follows_a_closed_form_within_its_uncertainty_and_falls) {
  // A straight edge of 2 ns: walk = 2 ns * level / height (T. Spieler's formula as in leading_edge.hpp,
  // derived).
  Random random(9);
  std::vector<CurvePoint> points;
  for (int i = 0; i < 400; ++i) {
    const double height = lowest_v * std::exp(random.uniform(0, std::log(20)));
    points.push_back({height, 2e-9 * threshold_v / height + random.normal(0, 10 * ps), 10 * ps});
  }
  const FallingCurve curve = falling_curve(points);
  EXPECT_NEAR(curve.scatter, 1, 0.15);  // a median of 400: 1.2/sqrt(400) of itself is one deviation
  std::size_t within = 0;
  constexpr int places = 60;
  for (int i = 0; i < places; ++i) {
    const double height = lowest_v * 1.02 * std::exp(std::log(19.2) * i / (places - 1));
    const CurveValue walk = value_at(curve, height);
    EXPECT_NEAR(walk.value, 2e-9 * threshold_v / height, 4.5 * walk.uncertainty) << height;
    EXPECT_LT(walk.uncertainty, 6 * ps);
    within += std::abs(walk.value - 2e-9 * threshold_v / height) < 2 * walk.uncertainty ? 1 : 0;
    EXPECT_LE(walk.per_log, 0);
  }
  EXPECT_GE(within, places * 3 / 4U);  // 95 % expected; neighbours share their chance
  // Beyond the pulses learnt from it goes on straight, and doubts it.
  const CurveValue end = value_at(curve, std::exp(curve.first_log));
  const CurveValue below = value_at(curve, 0.5 * std::exp(curve.first_log));
  EXPECT_NEAR(below.value, end.value - std::log(2) * end.per_log, 1e-3 * ps);
  EXPECT_GT(below.uncertainty, std::abs(below.value - end.value));
  EXPECT_TRUE(std::isnan(value_at(curve, 0).value));
}

TEST(falling_curve, refuses_what_it_cannot_learn_from) {
  const std::vector<CurvePoint> few(20, {.argument = 1, .value = 0, .uncertainty = 1e-12});
  EXPECT_THROW(falling_curve(few), Error);
  const std::vector<CurvePoint> same(100, {.argument = 1, .value = 0, .uncertainty = 1e-12});
  EXPECT_THROW(falling_curve(same), Error);
  std::vector<CurvePoint> nothing(100, {.argument = NAN, .value = 0, .uncertainty = 1e-12});
  EXPECT_THROW(falling_curve(nothing), Error);
  EXPECT_THROW(make_timing_method(settings_of("height"), knowledge()), Error);
  EXPECT_THROW(make_timing_method(settings_of("charge"), knowledge()), Error);
  EXPECT_TRUE(needs_walk(settings_of("slew")));
  EXPECT_FALSE(needs_walk(settings_of("none")));
}

}  // namespace
}  // namespace firstedge
