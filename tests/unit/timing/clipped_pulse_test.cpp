// Claims about clipped pulses: timed from the samples below the limit with their right weight and true
// uncertainties, or not at all where the method needs what is not known.
#include "firstedge/timing/constant_fraction.hpp"
#include "firstedge/timing/delayed_fraction.hpp"
#include "firstedge/timing/leading_edge.hpp"
#include "firstedge/timing/methods.hpp"

#include "support/clipped_scenes.hpp"

#include <cmath>
#include <memory>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace test;  // scenes

constexpr std::size_t scenes = 4000;

// Room: 3.5 standard errors, see pile_up_test.cpp.
void expect_true_uncertainties(const Tally& times) {
  const auto n = static_cast<double>(times.count());
  EXPECT_LT(std::abs(times.bias_s()), 3.5 * times.bias_error_s());
  EXPECT_NEAR(times.within_one(), 0.6827, 3.5 * std::sqrt(0.6827 * 0.3173 / n));
  EXPECT_NEAR(times.within_two(), 0.9545, 3.5 * std::sqrt(0.9545 * 0.0455 / n));
  EXPECT_NEAR(times.spread_s() / times.uncertainty_s(), 1, 3.5 / std::sqrt(2 * n));
}

TEST(clipped_pulse, template_fit_is_at_the_bound_of_the_samples_left_up_to_four_times_full_scale) {
  for (const double overdrive : {1.05, 2.0, 4.0}) {
    SCOPED_TRACE(overdrive);
    const NoiseModel noise = white_noise(1.0 / 60, interval);
    const TemplateFit fit(exact(), noise);
    const ClippedOutcome outcome = outcome_of({.overdrive = overdrive}, scenes, noise, 0.5, fit);
    EXPECT_EQ(outcome.untimed, 0U);
    EXPECT_LE(outcome.flagged, 4U);  // poor fits: 0.4 expected, more than 4 in 6e-5 of cases
    expect_true_uncertainties(outcome.times);
    // Samples that may as well be clipped are left out too: some of them are below the limit and in the
    // bound.
    EXPECT_LE(outcome.times.uncertainty_s(), 1.05 * outcome.times.bound_s());
  }
}

TEST(clipped_pulse, samples_left_out_cost_no_others_in_coloured_noise) {
  const NoiseModel noise = autoregressive_noise(1.0 / 60, 0.9, interval);
  const TemplateFit fit(exact(), noise);
  for (const double overdrive : {1.2, 4.0}) {
    SCOPED_TRACE(overdrive);
    const ClippedOutcome outcome =
        outcome_of({.overdrive = overdrive, .correlation = 0.9}, scenes, noise, 0.5, fit);
    EXPECT_EQ(outcome.untimed, 0U);
    expect_true_uncertainties(outcome.times);
  }
}

TEST(clipped_pulse, leading_edge_below_the_limit_is_timed_and_above_it_not) {
  const NoiseModel noise = white_noise(1.0 / 60, interval);
  const auto at = [&](double threshold_v) {
    return [&noise, threshold_v](const ConditionedTrace& trace, const Pulse& pulse) {
      return leading_edge(trace, pulse, noise, {.threshold_v = threshold_v});
    };
  };
  for (const double overdrive : {1.2, 2.0, 4.0}) {
    SCOPED_TRACE(overdrive);
    const ClippedOutcome low = outcome_of({.overdrive = overdrive}, scenes, noise, 0.3 / overdrive, at(0.3));
    EXPECT_EQ(low.untimed, 0U);
    EXPECT_EQ(low.flagged, 0U);
    const auto n = static_cast<double>(scenes);
    // Curves of one side only are off by up to 0.5 ps (measured without noise).
    EXPECT_LT(std::abs(low.times.bias_s()), 3.5 * low.times.bias_error_s() + 0.5 * ps);
    EXPECT_NEAR(low.times.within_one(), 0.6827, 0.01 + 3.5 * std::sqrt(0.6827 * 0.3173 / n));
    const ClippedOutcome high = outcome_of({.overdrive = overdrive}, 200, noise, 0.5, at(1.0));
    EXPECT_EQ(high.untimed, 200U);
  }
}

TEST(clipped_pulse, a_fraction_of_a_height_that_is_not_known_is_no_time) {
  const NoiseModel noise = white_noise(1.0 / 60, interval);
  for (const double fraction : {0.1, 0.5}) {
    const TimePulse constant = [&](const ConditionedTrace& trace, const Pulse& pulse) {
      return constant_fraction(trace, pulse, noise, {.fraction = fraction});
    };
    EXPECT_EQ(outcome_of({.overdrive = 2}, 200, noise, fraction, constant).untimed, 200U);
  }
  const TimePulse delayed = [&](const ConditionedTrace& trace, const Pulse& pulse) {
    return delayed_fraction(trace, pulse, noise, {});
  };
  EXPECT_EQ(outcome_of({.overdrive = 2}, 200, noise, 0.3, delayed).untimed, 200U);
}

TEST(clipped_pulse, constant_fraction_takes_the_height_from_the_template_where_there_is_one) {
  const NoiseModel noise = white_noise(1.0 / 60, interval);
  const ChannelKnowledge knowledge{.noise = noise,
                                   .pulse_template = std::make_shared<PulseTemplate>(exact())};
  Settings settings("bench.json, timing/0");
  settings.set("method", "constant_fraction");
  settings.set("fraction", 0.1);
  const TimingMethod method = make_timing_method(settings, knowledge);
  for (const double overdrive : {1.5, 4.0}) {
    SCOPED_TRACE(overdrive);
    const ClippedOutcome outcome =
        outcome_of({.overdrive = overdrive}, scenes, noise, 0.1, [&](const auto& trace, const Pulse& pulse) {
          return method.time_pulses(trace, std::span(&pulse, 1)).front();
        });
    EXPECT_LE(outcome.untimed,
              scenes / 100);  // where the level is next to the limit, no sample may be between
    EXPECT_EQ(outcome.flagged, 0U);
    const auto n = static_cast<double>(outcome.times.count());
    // The level stands on the foot of the edge: the slope changes within the noise (leading_edge.hpp), 2 % of
    // coverage and 1.5 ps.
    EXPECT_LT(std::abs(outcome.times.bias_s()), 3.5 * outcome.times.bias_error_s() + 1.5 * ps);
    EXPECT_NEAR(outcome.times.within_one(), 0.6827, 0.02 + 3.5 * std::sqrt(0.6827 * 0.3173 / n));
  }
}

TEST(clipped_pulse, the_height_of_the_template_fit_hangs_on_samples_that_are_there) {
  const NoiseModel noise = white_noise(1.0 / 60, interval);
  const TemplateFit fit(exact(), noise);
  const ConditionedTrace trace = clipped_at(clean(10.05e-9, 2), 1);
  const Pulse pulse = find_pulses(trace, noise, 50, {}).front();
  const auto height = fit.height(trace, pulse);
  ASSERT_TRUE(height);
  EXPECT_NEAR(height->value_v, 2,
              1e-4);  // noiseless; the series between places, 1e-6 of it, against four samples
  double sum = 0;
  for (std::size_t i = 0; i < height->weights.weights().size(); ++i) {
    const std::size_t sample = height->weights.first() + i;
    const double weight = height->weights.weights()[i];
    if (sample >= trace.clipped.front().first && sample < trace.clipped.front().last) {
      EXPECT_EQ(weight, 0);
    } else {
      sum += weight * trace.volts[sample];
    }
  }
  EXPECT_NEAR(sum, 2, 0.02);  // the fit is linear in the height, but for the time that it settles with it
}

}  // namespace
}  // namespace firstedge
