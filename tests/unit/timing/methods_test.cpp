// Claims of the table of methods: what the Setup's words make, what they refuse, and that bounds are filled
// in.
#include "firstedge/timing/methods.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/timing/time_bound.hpp"

#include "support/timing_methods.hpp"

#include <cmath>
#include <memory>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr double interval_s = 0.2e-9;

Settings settings_of(const std::string& method) {
  Settings settings("bench.json, timing/0");
  settings.set("method", method);
  return settings;
}

ChannelKnowledge knowledge() {
  return {.noise = white_noise(0.01, interval_s), .pulse_template = nullptr};
}

ConditionedTrace two_pulses() {
  const test::SmoothPulse shape;
  auto volts = test::sampled(smooth(shape, 10e-9), 1, 500, interval_s);
  const auto second = test::sampled(smooth(shape, 60e-9), 0.5, 500, interval_s);
  for (std::size_t k = 0; k < volts.size(); ++k) volts[k] += second[k];
  return test::conditioned(std::move(volts), interval_s);
}

TEST(methods, names_are_known_and_each_makes_a_method_that_stamps_every_pulse_in_order) {
  EXPECT_THAT(timing_method_names(),
              testing::IsSupersetOf({"constant_fraction", "leading_edge", "delayed_fraction"}));
  const ConditionedTrace trace = two_pulses();
  const auto pulses = find_pulses(trace, knowledge().noise, 50, {});
  ASSERT_EQ(pulses.size(), 2U);
  for (const std::string& name : timing_method_names()) {
    if (needs_template(settings_of(name)) || needs_family(settings_of(name))) continue;
    const TimingMethod method = make_timing_method(settings_of(name), knowledge());
    EXPECT_EQ(method.name, name);
    EXPECT_FALSE(method.settings.empty());
    const std::vector<Stamp> stamps = method.time_pulses(trace, pulses);
    ASSERT_EQ(stamps.size(), 2U);
    EXPECT_LT(stamps[0].time_s, 15e-9);
    EXPECT_GT(stamps[1].time_s, 55e-9);
    EXPECT_TRUE(std::isnan(stamps[0].bound_s));
  }
  EXPECT_EQ(make_timing_method(Settings("setup"), knowledge()).name, "constant_fraction");
}

TEST(methods, options_of_the_setup_reach_the_method) {
  const ConditionedTrace trace = two_pulses();
  const auto pulses = find_pulses(trace, knowledge().noise, 50, {});
  const auto first = [&](const Settings& settings) {
    return make_timing_method(settings, knowledge()).time_pulses(trace, pulses).front();
  };
  Settings constant = settings_of("constant_fraction");
  constant.set("fraction", 0.25);
  constant.set("interpolation", "cubic");
  const NoiseModel noise = knowledge().noise;
  EXPECT_EQ(
      first(constant).time_s,
      constant_fraction(trace, pulses[0], noise, {.fraction = 0.25, .interpolation = Interpolation::cubic})
          .time_s);
  EXPECT_EQ(make_timing_method(constant, knowledge()).settings, "fraction=0.25, interpolation=cubic");

  Settings fitted = settings_of("constant_fraction");
  fitted.set("edge_samples", 8.0);
  EXPECT_EQ(first(fitted).time_s, constant_fraction(trace, pulses[0], noise, {.edge_samples = 8}).time_s);

  Settings leading = settings_of("leading_edge");
  leading.set("threshold", "300 mV");
  EXPECT_EQ(first(leading).time_s, leading_edge(trace, pulses[0], noise, {.threshold_v = 0.3}).time_s);
  Settings by_noise = settings_of("leading_edge");
  by_noise.set("threshold_over_noise", 30.0);
  EXPECT_EQ(first(by_noise).time_s, first(leading).time_s);

  Settings delayed = settings_of("delayed_fraction");
  delayed.set("delay", "1.1 ns");
  EXPECT_EQ(first(delayed).time_s, delayed_fraction(trace, pulses[0], noise, {.delay_s = 1.1e-9}).time_s);
}

TEST(methods, words_without_sense_are_refused_with_their_place) {
  const auto refused = [](Settings settings, const std::string& name, Settings::Value value) {
    settings.set(name, std::move(value));
    try {
      make_timing_method(settings, knowledge());
      ADD_FAILURE() << name;
    } catch (const Error& error) {
      EXPECT_THAT(error.what(), testing::HasSubstr("bench.json, timing/0/" + name));
    }
  };
  refused(settings_of("constant_fraction"), "method", {std::string("guess")});
  refused(settings_of("constant_fraction"), "fraction", {0.0});
  refused(settings_of("constant_fraction"), "fraction", {1.0});
  refused(settings_of("constant_fraction"), "fraction", {std::nan("")});
  refused(settings_of("constant_fraction"), "interpolation", {std::string("septic")});
  refused(settings_of("constant_fraction"), "threshold", {0.1});
  for (const double samples : {-8.0, 4.0, 7.0, 6.5, 130.0, std::nan("")})
    refused(settings_of("constant_fraction"), "edge_samples", {samples});
  refused(settings_of("leading_edge"), "threshold", {std::string("0 V")});
  refused(settings_of("leading_edge"), "threshold_over_noise", {-1.0});
  refused(settings_of("delayed_fraction"), "delay", {std::string("-0.8 ns")});
  EXPECT_THROW(needs_template(settings_of("guess")), Error);
}

TEST(methods, the_bound_of_the_template_stands_beside_every_time) {
  const test::SmoothPulse shape;
  auto known = std::make_shared<PulseTemplate>();
  known->interval_s = interval_s / 8;
  known->first_s = -4e-9;
  known->shape = test::sampled(smooth(shape, shape.time_of_fraction(0.5) * -1), 1, 1000, known->interval_s,
                               known->first_s);
  known->shape_uncertainty.assign(known->shape.size(), 1e-3);
  known->pulses_used = 100;
  ChannelKnowledge with = knowledge();
  with.pulse_template = known;
  const ConditionedTrace trace = two_pulses();
  const auto pulses = find_pulses(trace, with.noise, 50, {});
  for (const std::string name : {"constant_fraction", "leading_edge", "delayed_fraction"}) {
    for (const Stamp& stamp : make_timing_method(settings_of(name), with).time_pulses(trace, pulses)) {
      EXPECT_DOUBLE_EQ(stamp.bound_s, time_bound_s(*known, stamp.height_v, with.noise));
      EXPECT_LT(stamp.bound_s, stamp.uncertainty_s);
    }
  }
}

}  // namespace
}  // namespace firstedge
