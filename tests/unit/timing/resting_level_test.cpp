// Claims of resting_level.hpp: noise of the model passes, what is not level does not, and pulses say so.
#include "firstedge/timing/resting_level.hpp"

#include "firstedge/timing/pulse_search.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"
#include "support/template_pulses.hpp"

#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr double interval = 0.2e-9;
constexpr double noise_v = 0.01;

Pulse pulse_after(std::size_t samples) {
  Pulse pulse;
  pulse.region = {samples + 2, samples + 30};  // two samples are left to its foot
  return pulse;
}

/// What may stand in front of a pulse beside the noise; standard deviations of the noise, of slope a sample.
struct Front {
  double correlation = 0;  ///< of neighbouring samples of the noise
  double level = 0, drift = 0, sine = 0;
};
struct Shares {
  double off_baseline = 0, unsteady = 0;
};
Shares shares_of(const Front& front, int stretches) {
  constexpr std::size_t samples = most_resting_samples;
  const NoiseModel noise = test::autoregressive_noise(noise_v, front.correlation, interval);
  test::Random random(11);
  Shares shares;
  for (int i = 0; i < stretches; ++i) {
    std::vector<double> volts(samples + 30);
    const double phase = random.uniform(0, 2 * std::numbers::pi);
    for (std::size_t k = 0; k < volts.size(); ++k) {
      const auto at = static_cast<double>(k);
      volts[k] = noise_v * (front.level + front.drift * (at - samples / 2.0) +
                            front.sine * std::sin(2 * std::numbers::pi * at / 30 + phase));
    }
    test::add_autoregressive_noise(volts, noise_v, front.correlation, random);
    const RestingLevel level =
        level_in_front(test::conditioned(std::move(volts), interval), noise, pulse_after(samples), 0);
    shares.off_baseline += level.at_baseline ? 0 : 1.0 / stretches;
    shares.unsteady += level.steady ? 0 : 1.0 / stretches;
  }
  return shares;
}

TEST(resting_noise, means_and_scatter_are_those_of_the_plain_sums) {
  const double variance_v2 = 1.3;  // of a sample, quantisation included
  NoiseModel model{.interval_s = interval, .autocovariance_v2 = {}, .samples_used = 1000};
  for (int lag = 0; lag < 40; ++lag)
    model.autocovariance_v2.push_back(1.2 * std::pow(0.9, lag) * std::cos(0.3 * lag));
  const RestingNoise noise(model);
  const auto of_samples = [&](std::size_t a, std::size_t b) {
    return a == b ? variance_v2 : model.covariance_v2(a > b ? a - b : b - a);
  };
  for (const std::size_t block : {1U, 8U}) {
    for (const std::size_t blocks : {4U, 7U, 32U}) {
      const auto n = static_cast<double>(blocks);
      const auto rising = [&](std::size_t k) {
        return std::sqrt(12 / (n * (n * n - 1))) * (static_cast<double>(k) - (n - 1) / 2);
      };
      double expected = 0, squares = 0;  // of the scatter beside a straight line; of the covariances
      for (std::size_t a = 0; a < blocks; ++a) {
        for (std::size_t b = 0; b < blocks; ++b) {
          double of_means = 0;
          for (std::size_t i = 0; i < block; ++i)
            for (std::size_t k = 0; k < block; ++k) of_means += of_samples(a * block + i, b * block + k);
          of_means /= static_cast<double>(block * block);
          const std::size_t apart = a > b ? a - b : b - a;
          EXPECT_NEAR(noise.of_means_v2(block, apart, variance_v2), of_means,
                      1e-12);  // hundreds of roundings
          expected += of_means * ((a == b ? 1 : 0) - 1 / n - rising(a) * rising(b));
          squares += of_means * of_means;
        }
      }
      const RestingNoise::Scatter scatter = noise.scatter(block, blocks, variance_v2);
      EXPECT_NEAR(scatter.expected_v2, expected, 1e-12 * blocks);
      EXPECT_NEAR(scatter.relative_variance, 2 * squares / (expected * expected),
                  1e-11 * scatter.relative_variance);
    }
  }
}

TEST(resting_level, noise_of_the_model_rests) {
  for (const double correlation : {0.0, 0.8}) {
    const Shares shares = shares_of({.correlation = correlation}, 20'000);
    // The header promises 1 in 10,000, 2 in 20,000: more than 9 come by chance in 5 of 100,000 cases
    // (Poisson).
    EXPECT_LE((shares.off_baseline + shares.unsteady) * 20'000, 9.5) << correlation;
  }
}

TEST(resting_level, a_level_off_its_baseline_is_told_and_is_steady) {
  // 256 samples know a level to 1/16 of one: 4.5 of these, and 4 more to make sure.
  const Shares shares = shares_of({.level = 8.5 / 16}, 1000);
  EXPECT_GT(shares.off_baseline, 0.995);
  EXPECT_LT(shares.unsteady, 0.005);
}

TEST(resting_level, drift_and_ringing_are_not_steady) {
  // The halves of 256 samples differ by 128 times the drift, known to sqrt(2/128) = 1/8. Half a standard
  // deviation over the 28 samples of the pulse is harmless: 4 of those eighths more, and half of it.
  EXPECT_GT(shares_of({.drift = 0.5 / 28 + 0.5 / 128}, 1000).unsteady, 0.995);
  EXPECT_LT(shares_of({.drift = 0.25 / 28}, 1000).unsteady, 0.005);
  // Twice the header's amplitude: eights of 30 samples a period keep 0.89 of it, a scatter of 0.67 where
  // noise gives 1/8, 32 of them known to 25 %.
  EXPECT_GT(shares_of({.sine = 1.5}, 1000).unsteady, 0.995);
}

TEST(resting_level, what_is_said_of_the_baseline_s_uncertainty_counts) {
  ConditionedTrace trace = test::conditioned(std::vector<double>(100, 3 * noise_v), interval);
  const NoiseModel noise = white_noise(noise_v, interval);
  EXPECT_FALSE(level_in_front(trace, noise, pulse_after(64), 0).at_baseline);
  trace.baseline_v.uncertainty = 3 * noise_v;
  EXPECT_TRUE(level_in_front(trace, noise, pulse_after(64), 0).at_baseline);
}

TEST(resting_level, too_few_samples_and_noise_not_known_say_nothing) {
  const ConditionedTrace trace = test::conditioned(std::vector<double>(100, 1.0), interval);
  const NoiseModel noise = white_noise(noise_v, interval);
  EXPECT_TRUE(level_in_front(trace, noise, pulse_after(64), 57).at_baseline);
  EXPECT_FALSE(level_in_front(trace, noise, pulse_after(64), 56).at_baseline);
  EXPECT_TRUE(level_in_front(trace, noise, pulse_after(0), 0).at_baseline);
  EXPECT_TRUE(level_in_front(trace, white_noise(0, interval), pulse_after(64), 0).at_baseline);
}

TEST(resting_level, a_pulse_on_a_moved_level_is_flagged_and_one_on_its_baseline_is_not) {
  for (const double level_v : {0.0, 0.02, -0.02}) {
    const test::SmoothPulse pulse;
    std::vector<double> volts = test::sampled(test::smooth(pulse, 30e-9), 1, 300, interval);
    test::Random random(12);
    random.add_white_noise(volts, noise_v);
    for (double& v : volts) v += level_v;
    const std::vector<Pulse> pulses =
        find_pulses(test::conditioned(std::move(volts), interval), white_noise(noise_v, interval), 50, {});
    ASSERT_FALSE(pulses.empty());
    EXPECT_EQ(pulses.front().flags.has(Flag::unsteady_baseline), level_v != 0) << level_v;
  }
}

}  // namespace
}  // namespace firstedge
