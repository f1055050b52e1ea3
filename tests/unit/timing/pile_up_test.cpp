// Claims about overlapping pulses: fitted together without bias and with true uncertainties down to one rise
// time, told below that, found where no dip parts them, and single pulses left whole.
#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/template_group.hpp"

#include "support/pile_up_scenes.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace test;  // scenes

constexpr std::size_t scenes = 600;

double rise() {
  return pulse_shape().transition_s();
}
const NoiseModel& bench_noise() {
  static const NoiseModel noise = white_noise(1.0 / 60, interval);
  return noise;
}
const TemplateFit& bench_fit() {
  static const TemplateFit fit(exact(), bench_noise());
  return fit;
}

/// Both times without bias, at the joint bound, and 68.3 % within one uncertainty. Room: 3.5 standard errors,
/// of which 8 such comparisons exceed one in 300 cases (derived from the Gaussian tail, 4.7e-4 two-sided;
/// seeds are fixed).
void expect_honest(const PileUpOutcome& outcome) {
  for (const Tally& pulse : outcome.pulses) {
    const auto n = static_cast<double>(pulse.count());
    EXPECT_LT(std::abs(pulse.bias_s()), 3.5 * pulse.bias_error_s());
    EXPECT_NEAR(pulse.within_one(), 0.6827, 3.5 * std::sqrt(0.6827 * 0.3173 / n));
    EXPECT_NEAR(pulse.within_two(), 0.9545, 3.5 * std::sqrt(0.9545 * 0.0455 / n));
    EXPECT_NEAR(pulse.spread_s() / pulse.bound_s(), 1, 3.5 / std::sqrt(2 * n));
  }
}

TEST(pile_up, both_times_are_at_the_joint_bound_down_to_one_rise_time) {
  std::uint64_t seed = 50;
  for (const auto& [first, second] : {std::pair{1.0, 1.0}, {1.0, 1.0 / 3}, {1.0 / 3, 1.0}}) {
    for (const double separation : {1.0, 2.0, 5.0}) {
      SCOPED_TRACE(testing::Message() << first << ":" << second << " at " << separation << " rise times");
      const PileUpOutcome outcome = outcome_of(
          {.separation_s = separation * rise(), .first_v = first, .second_v = second, .seed = ++seed}, scenes,
          bench_fit(), bench_noise());
      EXPECT_GE(outcome.told_apart,
                scenes - 2);  // of 6,000 at one rise time one has not been
      EXPECT_EQ(outcome.silent, 0U);
      expect_honest(outcome);
    }
  }
}

TEST(pile_up, in_coloured_noise_the_uncertainties_hold_too) {
  const NoiseModel noise = autoregressive_noise(1.0 / 60, 0.8, interval);
  const PileUpOutcome outcome = outcome_of({.separation_s = 1.5 * rise(), .correlation = 0.8}, 2 * scenes,
                                           TemplateFit(exact(), noise), noise);
  for (const Tally& pulse : outcome.pulses) {
    const auto n = static_cast<double>(pulse.count());
    EXPECT_EQ(pulse.count(), 2 * scenes);
    EXPECT_LT(std::abs(pulse.bias_s()), 3.5 * pulse.bias_error_s());
    EXPECT_NEAR(pulse.within_one(), 0.6827, 3.5 * std::sqrt(0.6827 * 0.3173 / n));
    EXPECT_NEAR(pulse.spread_s() / pulse.uncertainty_s(), 1, 3.5 / std::sqrt(2 * n));
  }
}

TEST(pile_up, pulses_nearer_than_a_rise_time_say_so) {
  const PileUpOutcome half =
      outcome_of({.separation_s = 0.5 * rise()}, scenes / 2, bench_fit(), bench_noise());
  EXPECT_EQ(half.silent, 0U);
  EXPECT_GE(half.flagged, scenes / 2 - 1);
  EXPECT_LE(half.told_apart, 5U);  // they are not reported as two: a pulse of another shape looks the same
  const PileUpOutcome apart =
      outcome_of({.separation_s = 1.2 * rise()}, scenes / 2, bench_fit(), bench_noise());
  EXPECT_LE(apart.flagged, 2U);  // poor fits: 1e-4 of them
}

TEST(pile_up, single_pulses_are_not_split) {
  // 10,000 pulses each at 60 and at 6 times the noise. Of two million such pulses one has been split, so that
  // one here would be a chance of 1 in 100.
  for (const double height : {60.0, 6.0}) {
    const NoiseModel noise = white_noise(1 / height, interval);
    const TemplateFit fit(exact(), noise);
    Random random(7);
    std::size_t split = 0;
    std::vector<std::vector<double>> shapes;
    constexpr int phases = 64;
    for (int phase = 0; phase < phases; ++phase)
      shapes.push_back(sampled(pulse_at(10e-9 + phase * interval / phases), 1, 160, interval));
    for (std::size_t i = 0; i < 10'000; ++i) {
      std::vector<double> volts = shapes[i % phases];
      random.add_white_noise(volts, 1 / height);
      const ConditionedTrace trace = conditioned(std::move(volts), interval);
      const auto pulses = find_pulses(trace, noise, 50, {.threshold_over_noise = 5});
      split += !pulses.empty() && fit(trace, pulses).size() > pulses.size() ? 1 : 0;
    }
    EXPECT_EQ(split, 0U) << height;
  }
}

TEST(pile_up, three_pulses_in_a_row_are_fitted_together) {
  Random random(3);
  std::array<Tally, 3> tallies;
  for (std::size_t i = 0; i < scenes; ++i) {
    const std::array<double, 3> truth{15e-9 + random.uniform(0, interval),
                                      19e-9 + random.uniform(0, interval),
                                      24e-9 + random.uniform(0, interval)};
    std::vector<double> volts(300);
    for (const double time : truth) {
      const std::vector<double> one = sampled(pulse_at(time), 1, volts.size(), interval);
      for (std::size_t k = 0; k < volts.size(); ++k) volts[k] += one[k];
    }
    random.add_white_noise(volts, 1.0 / 60);
    const ConditionedTrace trace = conditioned(std::move(volts), interval);
    const auto stamps = bench_fit()(trace, find_pulses(trace, bench_noise(), 50, {}));
    ASSERT_EQ(stamps.size(), 3U);
    for (std::size_t k = 0; k < 3; ++k) {
      EXPECT_TRUE(stamps[k].flags.has(Flag::piled_up));
      tallies[k].add(stamps[k], truth[k], 1);
    }
  }
  for (const Tally& pulse : tallies) {
    EXPECT_LT(std::abs(pulse.bias_s()), 3.5 * pulse.bias_error_s());
    EXPECT_NEAR(pulse.within_one(), 0.6827, 3.5 * std::sqrt(0.6827 * 0.3173 / scenes));
  }
}

TEST(pile_up, further_pulses_stand_after_those_of_the_search) {
  const double first_s = 20e-9;
  std::vector<double> volts = sampled(pulse_at(first_s), 1, 400, interval);
  for (const auto& [time, height] : {std::pair{first_s + 1.5 * rise(), 0.8}, {60e-9, 0.7}}) {
    const std::vector<double> one = sampled(pulse_at(time), height, volts.size(), interval);
    for (std::size_t k = 0; k < volts.size(); ++k) volts[k] += one[k];
  }
  Random(9).add_white_noise(volts, 1.0 / 200);
  const NoiseModel noise = white_noise(1.0 / 200, interval);
  const ConditionedTrace trace = conditioned(std::move(volts), interval);
  const auto pulses = find_pulses(trace, noise, 50, {});
  ASSERT_EQ(pulses.size(), 2U);
  const auto stamps = TemplateFit(exact(), noise)(trace, pulses);
  ASSERT_EQ(stamps.size(), 3U);
  EXPECT_NEAR(stamps[0].time_s, first_s, 5 * stamps[0].uncertainty_s);
  EXPECT_NEAR(stamps[1].time_s, 60e-9, 5 * stamps[1].uncertainty_s);
  EXPECT_NEAR(stamps[2].time_s, first_s + 1.5 * rise(), 5 * stamps[2].uncertainty_s);
  EXPECT_NEAR(stamps[2].height_v, 0.8, 0.03);
  EXPECT_EQ(stamps[2].flags, FlagSet(Flag::piled_up)) << to_text(stamps[2].flags);
  EXPECT_EQ(stamps[1].flags, FlagSet()) << to_text(stamps[1].flags);
  const TemplateFit single(exact(), noise, {.find_hidden_pulses = false});
  const auto unsplit = single(trace, pulses);
  ASSERT_EQ(unsplit.size(), 2U);
  EXPECT_TRUE(unsplit[0].flags.has(Flag::poor_fit));
}

/// The plain twin: a group of one is what fit_pulse finds.
TEST(template_group, of_one_pulse_is_the_fit_of_that_pulse) {
  for (const double correlation : {0.0, 0.9}) {
    const NoiseModel noise = autoregressive_noise(0.02, correlation, interval);
    const TemplateColumns columns(exact(), noise, true);
    Random random(5);
    for (const std::size_t missing : {0U, 3U, 20U}) {
      std::vector<double> volts = sampled(pulse_at(10.03e-9), 1, 160, interval);
      add_autoregressive_noise(volts, 0.02, correlation, random);
      PulseSamples samples{.volts = volts, .first = 0, .left_out = std::vector<bool>(volts.size())};
      // The samples of the window alone, so that both see the same.
      const auto begin = static_cast<std::size_t>(50 + columns.first_offset());
      samples.volts.assign(volts.begin() + static_cast<std::ptrdiff_t>(begin),
                           volts.begin() + static_cast<std::ptrdiff_t>(begin + columns.samples()));
      samples.first = static_cast<std::ptrdiff_t>(begin);
      samples.left_out.assign(samples.volts.size(), false);
      for (std::size_t k = 0; k < missing; ++k) samples.left_out[14 + k] = true;
      samples.any_left_out = missing > 0;
      const auto alone = fit_pulse(columns, samples, 50);
      const GroupMember member{.time_samples = 50, .polarity = 1};
      const auto group = fit_group(columns, samples, std::span(&member, 1));
      ASSERT_TRUE(alone && group);
      const FittedPulse& one = group->pulses.front();
      // Steps end at 1e-4 of an uncertainty (some 0.02 samples), the last one being quadratic in that.
      EXPECT_NEAR(one.time_samples, alone->time_samples, 1e-6);
      EXPECT_NEAR(one.height_v, alone->height_v, 1e-6);
      EXPECT_NEAR(one.information / alone->information, 1, 1e-3);
      EXPECT_NEAR(one.chi_square, alone->chi_square, 1e-3 * alone->chi_square);
      EXPECT_EQ(one.degrees_of_freedom, alone->degrees_of_freedom);
      EXPECT_EQ(one.clipped, missing > 0);
      EXPECT_NEAR(one.shares.of_extra_noise, alone->shares.of_extra_noise,
                  1e-2 * alone->shares.of_extra_noise);
    }
  }
}

/// Samples left out: products over those that are left by the inverse of their own covariance, the plain way.
TEST(missing_samples, leaves_what_the_dense_inverse_of_the_rest_says) {
  constexpr std::size_t size = 40;
  NoiseModel noise = autoregressive_noise(0.3, 0.7, interval);
  for (std::size_t k = 0; k < noise.autocovariance_v2.size(); ++k)
    noise.autocovariance_v2[k] =
        0.6 * noise.autocovariance_v2[k] + 0.02 * std::cos(0.9 * double(k)) * std::exp(-double(k) / 30);
  noise.autocovariance_v2[0] += 0.02;
  const NoiseWhitening whitening(noise, size);
  Random random(2);
  for (const std::vector<std::size_t>& out :
       {std::vector<std::size_t>{}, {0}, {39}, {7, 8, 9}, {3, 10, 11, 12, 30}}) {
    std::vector<bool> left_out(size);
    for (const std::size_t k : out) left_out[k] = true;
    std::vector<std::size_t> rest;
    for (std::size_t k = 0; k < size; ++k)
      if (!left_out[k]) rest.push_back(k);
    Matrix covariance(rest.size(), std::vector<double>(rest.size()));
    for (std::size_t i = 0; i < rest.size(); ++i)
      for (std::size_t j = 0; j < rest.size(); ++j)
        covariance[i][j] = noise.covariance_v2(rest[i] > rest[j] ? rest[i] - rest[j] : rest[j] - rest[i]);
    const Matrix weights = inverse(covariance);
    std::vector<double> a(size), b(size);
    random.add_white_noise(a, 1);
    random.add_white_noise(b, 1);
    double expected = 0;
    for (std::size_t i = 0; i < rest.size(); ++i)
      for (std::size_t j = 0; j < rest.size(); ++j) expected += a[rest[i]] * weights[i][j] * b[rest[j]];
    const MissingSamples missing(left_out, whitening);
    EXPECT_EQ(missing.rows_lost(), out.size());
    const double found =
        sum_of_products(missing.taken_out(whitening.whitened(a)), missing.taken_out(whitening.whitened(b)));
    EXPECT_NEAR(found, expected, 1e-9 * std::abs(expected) + 1e-6) << out.size();
  }
}

}  // namespace
}  // namespace firstedge
