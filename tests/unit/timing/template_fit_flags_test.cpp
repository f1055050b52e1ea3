// Claims of the template fit for pulses that are not as they should be: what is flagged, and that the stated
// uncertainty holds all the same.
#include "firstedge/core/error.hpp"
#include "firstedge/signal/noise.hpp"
#include "firstedge/timing/template_fit.hpp"
#include "firstedge/timing/template_shape.hpp"

#include "support/template_scenes.hpp"

#include <cmath>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace test;  // scenes

constexpr int some = 6000;

NoiseModel bench_noise() {
  return white_noise(1.0 / 60, interval);
}

/// Every pulse timed, without bias, and the uncertainty true: 68.3 % within one, and its size that of the
/// scatter. Room: three standard errors, of a share of 0.683 sqrt(0.683 * 0.317 / n), of a deviation 1/sqrt(2
/// n).
void expect_honest(const Errors& all) {
  const auto n = static_cast<double>(all.stamps.size());
  EXPECT_EQ(all.flagged(Flag::not_timed), 0U);
  EXPECT_NEAR(all.coverage, 0.6827, 3 * std::sqrt(0.6827 * 0.3173 / n));
  EXPECT_LT(std::abs(all.mean_s), 3 * all.deviation_s / std::sqrt(n));
  EXPECT_NEAR(all.deviation_s / all.uncertainty_s, 1, 3 / std::sqrt(2 * n));
}

TEST(template_fit_flags, clipped_samples_are_left_out_and_told) {
  const NoiseModel white = bench_noise();
  const Errors all = errors_of({.clip_v = 0.6}, some, TemplateFit(exact(), white), white);
  EXPECT_EQ(all.flagged(Flag::clipped), all.stamps.size());
  expect_honest(all);
  double height = 0;
  for (const Stamp& stamp : all.stamps) height += stamp.height_v / some;
  EXPECT_NEAR(height, 1, 0.01);  // of the whole pulse, not of its clipped rest
  EXPECT_GT(all.uncertainty_s, all.bound_s);

  const NoiseModel coloured = autoregressive_noise(1.0 / 60, 0.9, interval);
  expect_honest(
      errors_of({.correlation = 0.9, .clip_v = 0.6}, some, TemplateFit(exact(), coloured), coloured));
}

TEST(template_fit_flags, a_support_cut_by_the_record_is_told_and_timed_by_what_is_left) {
  const NoiseModel noise = bench_noise();
  const TemplateFit fit(exact(), noise);
  const Errors whole = errors_of({}, 500, fit, noise);
  EXPECT_EQ(whole.flagged(Flag::edge_of_record), 0U);
  const Errors ended = errors_of({.samples = 62}, some, fit, noise);  // 2.2 ns after the half height
  EXPECT_EQ(ended.flagged(Flag::edge_of_record), ended.stamps.size());
  expect_honest(ended);
  EXPECT_GT(ended.uncertainty_s, whole.uncertainty_s);
  const Errors begun = errors_of({.reference_s = 0.5e-9}, some, fit, noise);  // 2.5 samples before it
  EXPECT_EQ(begun.flagged(Flag::edge_of_record), begun.stamps.size());
  expect_honest(begun);
}

TEST(template_fit_flags, overlapping_pulses_are_told_and_timed) {
  const NoiseModel noise = bench_noise();
  const TemplateFit fit(exact(), noise);
  Random random(41);
  Errors first;
  Errors second;
  for (int i = 0; i < 2000; ++i) {
    const double truth = 10e-9 + random.uniform(0, interval);
    const double later = truth + 5e-9 + random.uniform(0, interval);
    ConditionedTrace trace = clean(truth, 1, 220);
    const ConditionedTrace other = clean(later, 0.8, 220);
    for (std::size_t k = 0; k < trace.volts.size(); ++k) trace.volts[k] += other.volts[k];
    random.add_white_noise(trace.volts, 1.0 / 60);
    const auto pulses = find_pulses(trace, noise, 50, {});
    ASSERT_EQ(pulses.size(), 2U);
    const auto stamps = fit(trace, pulses);
    for (const auto& [all, stamp, time] :
         {std::tuple{&first, stamps[0], truth}, {&second, stamps[1], later}}) {
      EXPECT_TRUE(stamp.flags.has(Flag::piled_up));
      all->stamps.push_back(stamp);
      all->coverage += std::abs(stamp.time_s - time) < stamp.uncertainty_s ? 1.0 / 2000 : 0;
      all->mean_s += (stamp.time_s - time) / 2000;
      all->uncertainty_s += stamp.uncertainty_s / 2000;
    }
  }
  // The first pulse's fit knows all that disturbs it; the second one's not the error of what was taken away.
  EXPECT_NEAR(first.coverage, 0.6827, 3 * std::sqrt(0.6827 * 0.3173 / 2000));
  EXPECT_LT(std::abs(first.mean_s), 3 * first.uncertainty_s / std::sqrt(2000));
  EXPECT_NEAR(second.coverage, 0.6827, 0.05);
  EXPECT_LT(std::abs(second.mean_s), 0.1 * second.uncertainty_s);
}

TEST(template_fit_flags, pulses_far_apart_are_not_told_of_each_other) {
  const NoiseModel noise = bench_noise();
  ConditionedTrace trace = clean(10e-9, 1, 400);
  const ConditionedTrace other = clean(45e-9, 0.8, 400);
  for (std::size_t k = 0; k < trace.volts.size(); ++k) trace.volts[k] += other.volts[k];
  Random(5).add_white_noise(trace.volts, 1.0 / 60);
  const auto pulses = find_pulses(trace, noise, 50, {});
  const auto stamps = TemplateFit(exact(), noise)(trace, pulses);
  ASSERT_EQ(stamps.size(), 2U);
  for (const Stamp& stamp : stamps) EXPECT_EQ(stamp.flags, FlagSet()) << to_text(stamp.flags);
}

TEST(template_fit_flags, undershoot_of_an_ac_coupling_is_part_of_the_shape) {
  // A slow overshoot to the other side, 10 % deep.
  const SmoothPulse slow(2e-9, 2e-9, 30e-9);
  const Shape fast = pulse_at(0);
  const Shape coupled = [=](double t) { return fast(t) - 0.1 * slow(t); };
  const PulseTemplate made = exact_template(coupled, 0, 25e-12, -2.5e-9, 30e-9);
  const NoiseModel noise = bench_noise();
  const Errors all = errors_of({.shape = coupled, .samples = 260}, some, TemplateFit(made, noise), noise);
  // The template's half height is not quite at time zero, but its time zero is what is told.
  expect_honest(all);
  EXPECT_LE(all.flagged(Flag::poor_fit), 5U);  // 0.6 expected at 1e-4
}

TEST(template_fit_flags, another_shape_is_a_poor_fit_unless_the_template_says_it_is_uncertain) {
  const NoiseModel noise = bench_noise();
  const SmoothPulse shorter(0.3689044e-9, 0.2213426e-9, 2e-9);
  const Scene scene{.shape = smooth(shorter, -shorter.time_of_fraction(0.5))};
  const Errors all = errors_of(scene, 500, TemplateFit(exact(), noise), noise);
  EXPECT_GE(all.flagged(Flag::poor_fit), 495U);
  PulseTemplate doubtful = exact();
  doubtful.shape_uncertainty.assign(doubtful.shape.size(), 0.1);
  const TemplateFit fit(doubtful, noise);
  EXPECT_EQ(errors_of(scene, 500, fit, noise).flagged(Flag::poor_fit), 0U);
}

TEST(template_fit_flags, low_pulses_are_told_and_higher_ones_not) {
  const NoiseModel noise = white_noise(0.5, interval);
  const TemplateFit fit(exact(), noise);
  const Errors low = errors_of({.height_over_noise = 2}, 500, fit, noise);
  // Explained height: 2 * sqrt(sum of squares of the shape, 12) = 7 standard uncertainties, 10 asked for.
  EXPECT_GE(low.flagged(Flag::low_signal) + low.flagged(Flag::not_timed), 480U);
}

TEST(template_fit_uncertainty, counts_the_quantisation_that_a_given_noise_model_does_not_hold) {
  const NoiseModel noise = bench_noise();  // 1/60 V; steps of three times that add 75 % to the variance
  const Errors all = errors_of({.step_v = 0.05}, some, TemplateFit(exact(), noise), noise);
  EXPECT_NEAR(all.coverage, 0.683, 0.025);  // at such steps the error is not quite independent noise
  EXPECT_NEAR(all.deviation_s / all.uncertainty_s, 1, 0.05);
  EXPECT_NEAR(all.stamps.front().noise_v, std::hypot(1.0 / 60, 0.05 / std::sqrt(12)), 1e-12);
  EXPECT_NEAR(all.bound_s / all.uncertainty_s, 1, 0.01);
  EXPECT_LE(all.flagged(Flag::poor_fit), 10U);
}

TEST(template_fit_uncertainty, comes_from_the_scatter_where_the_noise_is_not_known) {
  const Errors all = errors_of({}, some, TemplateFit(exact(), white_noise(0, interval)), bench_noise());
  expect_honest(all);
  for (const Stamp& stamp : all.stamps) EXPECT_TRUE(std::isnan(stamp.goodness));
}

TEST(template_fit_uncertainty, counts_the_uncertainty_of_the_template) {
  const NoiseModel noise = bench_noise();
  PulseTemplate doubtful = exact();
  doubtful.shape_uncertainty.assign(doubtful.shape.size(), 0.01);
  const double plain = stamp_of_highest(clean(10e-9, 1), TemplateFit(exact(), noise), noise).uncertainty_s;
  const double with = stamp_of_highest(clean(10e-9, 1), TemplateFit(doubtful, noise), noise).uncertainty_s;
  // 0.01 V a sample beside 1/60 V of noise, and 0.01 over the slope for the reference instant (derived).
  const double reference = 0.01 / pulse_shape().slope_per_s(half_time());
  EXPECT_NEAR(with, std::hypot(plain * std::hypot(1, 0.01 * 60), reference), 1e-6 * with);
}

TEST(template_fit_uncertainty, holds_for_noise_learnt_from_the_traces) {
  Random random(23);
  NoiseAccumulator learning(interval, 40, 1.25 / 4096);
  for (int i = 0; i < 300; ++i) {
    std::vector<double> volts(200);
    add_autoregressive_noise(volts, 1.0 / 60, 0.8, random);
    quantise(volts, 1.25 / 4096);
    learning.add(volts);
  }
  const NoiseModel noise = learning.model();
  const Errors all = errors_of({.correlation = 0.8}, 2 * some, TemplateFit(exact(), noise), noise);
  EXPECT_NEAR(all.coverage, 0.683, 0.015);
  EXPECT_NEAR(all.deviation_s / all.uncertainty_s, 1,
              0.03);  // 0.6 % of statistics, 1 % of the learnt variance
  const NoiseModel truth = autoregressive_noise(1.0 / 60, 0.8, interval);
  const Errors best = errors_of({.correlation = 0.8}, 2 * some, TemplateFit(exact(), truth), truth);
  EXPECT_LE(all.deviation_s, 1.01 * best.deviation_s);
}

TEST(template_fit_flags, what_cannot_be_timed_is_a_flag_and_never_an_exception) {
  const NoiseModel noise = bench_noise();
  const TemplateFit fit(exact(), noise);
  const ConditionedTrace good = clean(10e-9, 1);
  const Pulse pulse = find_pulses(good, noise, 50, {}).front();
  const auto expect_untimed = [&](const ConditionedTrace& trace, const Pulse& at) {
    const Stamp stamp = fit(trace, at);
    EXPECT_TRUE(stamp.flags.has(Flag::not_timed));
    EXPECT_TRUE(std::isnan(stamp.time_s));
  };
  ConditionedTrace nothing = good;
  nothing.volts.assign(good.volts.size(), NAN);
  expect_untimed(nothing, pulse);
  nothing.volts.assign(good.volts.size(), 0.0);
  expect_untimed(nothing, pulse);
  nothing.volts.clear();
  expect_untimed(nothing, pulse);
  ConditionedTrace infinite = good;
  infinite.volts.assign(good.volts.size(), INFINITY);
  expect_untimed(infinite, pulse);
  ConditionedTrace slower = good;
  slower.interval_s = 1.001 * interval;
  expect_untimed(slower, pulse);
  Pulse far = pulse;
  far.peak = 1'000'000;
  far.region = {999'990, 1'000'010};
  expect_untimed(good, far);
  Pulse turned = pulse;
  turned.polarity = -1;
  expect_untimed(good, turned);
  ConditionedTrace one = good;
  one.volts.resize(pulse.peak + 1);
  one.volts.erase(one.volts.begin(), one.volts.begin() + static_cast<std::ptrdiff_t>(pulse.peak) - 2);
  Pulse edge = pulse;
  edge.peak = 2;
  edge.region = {0, 3};
  expect_untimed(one, edge);
}

TEST(template_fit_flags, a_sample_that_is_not_a_number_is_left_out) {
  const NoiseModel noise = bench_noise();
  const TemplateFit fit(exact(), noise);
  ConditionedTrace trace = clean(10e-9, 1);
  const Pulse pulse = find_pulses(trace, noise, 50, {}).front();
  trace.volts[48] = NAN;
  trace.volts[70] = -INFINITY;
  const Stamp stamp = fit(trace, pulse);
  EXPECT_TRUE(stamp.flags.has(Flag::clipped));
  EXPECT_NEAR(stamp.time_s, 10e-9, 1e-3 * ps);  // noiseless: the series between places, as above
}

TEST(template_fit_flags, templates_of_another_time_scale_are_refused) {
  EXPECT_THROW(TemplateFit(exact(), white_noise(1, 1e-3), {}), Error);
  EXPECT_THROW(TemplateFit(exact(), white_noise(1, 1e-18), {}), Error);
  EXPECT_THROW(TemplateFit(exact(), white_noise(1, 0), {}), Error);
}

}  // namespace
}  // namespace firstedge
