// Claims of SampleNoise: the variance of a weighted sum of conditioned samples, the samples of the baseline's
// window counted in.
#include "firstedge/signal/level_statistics.hpp"
#include "firstedge/timing/crossing_weights.hpp"

#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

/// A learnt model of noise with a memory of some samples and a line in it.
NoiseModel learnt_noise() {
  NoiseModel noise{.interval_s = 0.2e-9, .autocovariance_v2 = {}, .samples_used = 100000};
  for (std::size_t k = 0; k < 60; ++k) {
    const auto lag = static_cast<double>(k);
    noise.autocovariance_v2.push_back(4e-6 * std::exp(-lag / 7) +
                                      1e-6 * std::cos(2 * std::numbers::pi * lag / 50));
  }
  return noise;
}

ConditionedTrace trace_with(SampleRange window, double rms_v) {
  ConditionedTrace trace;
  trace.volts.assign(200, 0.0);
  trace.interval_s = 0.2e-9;
  trace.baseline_window = window;
  trace.baseline_rms_v = rms_v;
  trace.baseline_v.uncertainty = 0.5e-3;  // of the order of what the model says, which is used instead
  return trace;
}

SampleWeights sum_at(std::size_t first) {
  SampleWeights weights;
  weights.add(first, 0.2);
  weights.add(first + 1, 0.9);
  weights.add(first + 2, -0.1);
  weights.add(first + 9, -0.3);
  return weights;
}

/// The same by the whole covariance matrix: each sample of the window with a weight of -sum/n.
double variance_of_all_v2(const NoiseModel& noise, const SampleWeights& weights, SampleRange window) {
  std::vector<double> all(200, 0.0);
  for (std::size_t i = 0; i < weights.weights().size(); ++i) all[weights.first() + i] += weights.weights()[i];
  for (std::size_t i = window.first; i < window.last; ++i)
    all[i] -= weights.sum() / static_cast<double>(window.size());
  double variance = 0;
  for (std::size_t i = 0; i < all.size(); ++i)
    for (std::size_t j = 0; j < all.size(); ++j)
      variance += all[i] * all[j] * noise.covariance_v2(i > j ? i - j : j - i);
  return variance;
}

TEST(channel_noise, sums_of_covariances_are_those_of_the_plain_loop) {
  const ChannelNoise known = learnt_noise();
  for (std::size_t n = 0; n <= 300; ++n) {
    double below = 0, shared = 0;
    for (std::size_t lag = 0; lag < n; ++lag) {
      below += known.model().covariance_v2(lag);
      if (lag > 0) shared += 2 * static_cast<double>(n - lag) * known.model().covariance_v2(lag);
    }
    EXPECT_EQ(known.sum_below(n), below) << n;
    // Two sums of like size are subtracted: some hundred roundings.
    EXPECT_NEAR(known.shared_in_sum(n), shared,
                1e-13 * static_cast<double>(n) * known.model().covariance_v2(0))
        << n;
  }
}

TEST(sample_noise, the_level_is_correlated_with_the_samples_as_its_window_is) {
  const ChannelNoise known = learnt_noise();
  const NoiseModel& noise = known.model();
  const SampleRange window{20, 90};
  const ConditionedTrace trace = trace_with(window, noise.rms_v());
  // Before the window, across its start, within it, across its end, just after it and far from it.
  for (const std::size_t first : {0U, 15U, 40U, 85U, 92U, 110U, 170U}) {
    const double expected = variance_of_all_v2(noise, sum_at(first), window);
    EXPECT_NEAR(SampleNoise(known, trace).variance_v2(sum_at(first)), expected, 1e-12 * expected) << first;
  }
}

TEST(sample_noise, a_window_that_scatters_more_than_the_model_makes_the_level_less_sure) {
  const ChannelNoise known = learnt_noise();
  const NoiseModel& noise = known.model();
  SampleWeights one;
  one.add(195, 1);
  const double as_usual = SampleNoise(known, trace_with({0, 60}, noise.rms_v())).variance_v2(one);
  const double level_v2 = as_usual - noise.covariance_v2(0);  // 136 samples away: nothing in common
  EXPECT_GT(level_v2, 0);
  EXPECT_NEAR(SampleNoise(known, trace_with({0, 60}, 2 * noise.rms_v())).variance_v2(one),
              noise.covariance_v2(0) + 4 * level_v2, 1e-9 * as_usual);
  EXPECT_EQ(SampleNoise(known, trace_with({0, 60}, noise.rms_v() / 2)).variance_v2(one), as_usual);
}

TEST(sample_noise, a_trace_whose_level_is_much_less_sure_than_the_noise_explains_is_believed) {
  const ChannelNoise known = learnt_noise();
  const NoiseModel& noise = known.model();
  ConditionedTrace trace = trace_with({0, 60}, noise.rms_v());
  SampleWeights one;
  one.add(195, 1);
  trace.baseline_v.uncertainty = 10e-3;
  EXPECT_NEAR(SampleNoise(known, trace).variance_v2(one), noise.covariance_v2(0) + 100e-6, 1e-15);
}

TEST(sample_noise, what_rounding_leaves_in_the_level_is_counted) {
  const ChannelNoise known = learnt_noise();
  const NoiseModel& noise = known.model();
  ConditionedTrace trace = trace_with({0, 60}, noise.rms_v());
  SampleWeights one;
  one.add(195, 1);
  const double fine = SampleNoise(known, trace).variance_v2(one);
  trace.step_v = 3 * noise.rms_v();
  EXPECT_NEAR(SampleNoise(known, trace).variance_v2(one),
              fine + std::pow(rounding_uncertainty(trace.step_v, noise.rms_v()), 2), 1e-12 * fine);
}

TEST(sample_noise, a_difference_of_samples_does_not_hang_on_the_level) {
  const ChannelNoise known = learnt_noise();
  const NoiseModel& noise = known.model();
  SampleWeights difference;
  difference.add(100, 1);
  difference.add(103, -1);
  const double expected = 2 * (noise.covariance_v2(0) - noise.covariance_v2(3));
  EXPECT_NEAR(SampleNoise(known, trace_with({0, 60}, noise.rms_v())).variance_v2(difference), expected,
              1e-12 * expected);
}

TEST(sample_noise, the_traces_own_uncertainty_of_its_level_counts_where_the_model_was_given) {
  const ChannelNoise known = white_noise(2e-3, 0.2e-9);
  ConditionedTrace trace = trace_with({0, 60}, 2e-3);
  trace.baseline_v.uncertainty = 3e-3;
  SampleWeights one;
  one.add(100, 1);
  EXPECT_NEAR(SampleNoise(known, trace).variance_v2(one), 4e-6 + 9e-6, 1e-18);
  trace.baseline_slope_uncertainty_v_per_s =
      1e-3 / 1e-9;  // 0.2 mV a sample, 70.5 samples from the middle at 30
  EXPECT_NEAR(SampleNoise(known, trace).variance_v2(one), 13e-6 + std::pow(70.5 * 0.2e-3, 2), 1e-15);
}

}  // namespace
}  // namespace firstedge
