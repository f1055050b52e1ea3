// Claims of template building: the shape comes back from noisy pulses, and times fitted with it are as good
// as with the true shape.
#include "firstedge/timing/template_building.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/timing/pulse_search.hpp"
#include "firstedge/timing/template_fit.hpp"
#include "firstedge/timing/template_shape.hpp"
#include "firstedge/timing/time_bound.hpp"

#include "support/template_scenes.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::interval;
using test::ps;
constexpr double step = 1.25 / 4096;  // 12 bit over 1.25 V

/// The acceptance's bench: 5 GS/s, 12 bit, white noise, 0.9 ns edges, heights as asked.
class Bench {
 public:
  explicit Bench(std::uint64_t seed, double height_over_noise = 60)
      : random_(seed), deviation_(1 / height_over_noise), half_(shape_.time_of_fraction(0.5)) {}

  NoiseModel noise() const { return white_noise(deviation_, interval); }
  double half() const { return half_; }
  const test::SmoothPulse& shape() const { return shape_; }
  test::Random& random() { return random_; }

  /// A trace with its half height at reference_s.
  ConditionedTrace trace(double reference_s, double height_v = 1) {
    const test::Shape moved = test::smooth(shape_, reference_s - half_);
    ConditionedTrace made = test::conditioned(test::sampled(moved, height_v, 160, interval), interval);
    random_.add_white_noise(made.volts, deviation_);
    test::quantise(made.volts, step);
    made.step_v = step;
    return made;
  }
  double anywhere() { return 10e-9 + random_.uniform(0, interval); }

 private:
  test::SmoothPulse shape_;
  test::Random random_;
  double deviation_;
  double half_;
};

std::vector<PulseInTrace> pulses_in(const std::deque<ConditionedTrace>& traces, const NoiseModel& noise) {
  std::vector<PulseInTrace> found;
  for (const ConditionedTrace& trace : traces)
    for (const Pulse& pulse : find_pulses(trace, noise, 50, {})) found.push_back({&trace, pulse});
  return found;
}

std::deque<ConditionedTrace> traces_of(Bench& bench, int count) {
  std::deque<ConditionedTrace> traces;
  for (int i = 0; i < count; ++i) traces.push_back(bench.trace(bench.anywhere()));
  return traces;
}

/// Times of fresh pulses by a template, against the truth.
test::Errors fresh_errors(const Bench& bench, const PulseTemplate& made, int pulses) {
  const TemplateFit fit(made, bench.noise());
  return test::errors_of({.seed = 99}, pulses, fit, bench.noise());
}

// The main claim, for two channels: spread at most 1.05 of the true bound, mean offset of the pair within
// three standard errors, 68.3 % +- 1.5 % within one uncertainty, at most 2 ps between the places in a sample.
TEST(template_building, times_by_a_built_template_reach_the_bound_without_bias) {
  constexpr int timed = 10'000;
  Bench a(11);
  Bench b(12);
  const PulseTemplate true_shape = test::smooth_template();
  std::array<test::Errors, 2> shifts;
  std::array<double, 2> reference{};
  std::size_t channel = 0;
  for (Bench* bench : {&a, &b}) {
    const auto traces = traces_of(*bench, channel == 0 ? 1000 : 5000);
    const PulseTemplate made = build_template(pulses_in(traces, bench->noise()), bench->noise());
    EXPECT_GE(made.pulses_used, channel == 0 ? 990U : 4950U);
    const TemplateShape shape(made);
    EXPECT_NEAR(shape.peak(), 1, 1e-12);
    EXPECT_NEAR(shape.reference_s(), 0, 1e-18);
    reference[channel] = shape.reference_uncertainty_s();
    const test::Errors& shift = shifts[channel] = fresh_errors(*bench, made, timed);
    EXPECT_LE(shift.deviation_s, 1.05 * time_bound_s(true_shape, 1, bench->noise()));
    EXPECT_NEAR(shift.bound_s / time_bound_s(true_shape, 1, bench->noise()), 1, 0.005);
    EXPECT_NEAR(shift.coverage, 0.683, 0.015);
    EXPECT_LE(shift.phase_span_s, 2 * ps);
    ++channel;
  }
  // A mean of times is as uncertain as its scatter, and as the instant that each template calls zero.
  const double error = std::hypot(std::hypot(shifts[0].deviation_s, shifts[1].deviation_s) / std::sqrt(timed),
                                  std::hypot(reference[0], reference[1]));
  EXPECT_LT(std::abs(shifts[0].mean_s - shifts[1].mean_s), 3 * error);
  EXPECT_LT(error, 0.6 * ps);  // what 1,000 and 5,000 pulses of this height must allow: 0.5 ps
}

// The shape itself, its stated uncertainty, and that what is left of it does not come from the grid.
TEST(template_building, shape_is_true_within_its_uncertainty) {
  Bench bench(13);
  const auto traces = traces_of(bench, 2000);
  const PulseTemplate made = build_template(pulses_in(traces, bench.noise()), bench.noise());
  double squares = 0;
  double edge_uncertainty = 0;
  for (std::size_t i = 0; i < made.shape.size(); ++i) {
    const double t = made.first_s + static_cast<double>(i) * made.interval_s;
    const double pull = (made.shape[i] - bench.shape()(t + bench.half())) / made.shape_uncertainty[i];
    squares += pull * pull;
    if (std::abs(t) < 0.4e-9) edge_uncertainty = std::max(edge_uncertainty, made.shape_uncertainty[i]);
  }
  // Neighbouring points are correlated over about a sample: some 110 independent pulls; three standard
  // errors.
  EXPECT_NEAR(squares / static_cast<double>(made.shape.size()), 1, 3 * std::sqrt(2.0 / 110));
  EXPECT_LT(edge_uncertainty, 1.0 / 60 / std::sqrt(2000.0));  // what averaging one sample a pulse gives
  // The support: from before the foot (1.3 ns before the half height) to where 0.2 % are left (3 ns * ln
  // 500).
  EXPECT_LT(made.first_s, -1.3e-9);
  EXPECT_GT(made.first_s, -3.5e-9);
  EXPECT_GT(made.first_s + made.interval_s * static_cast<double>(made.shape.size()), 17e-9);
}

TEST(template_building, same_pulses_give_the_same_bits) {
  Bench bench(14);
  const auto traces = traces_of(bench, 100);
  const auto pulses = pulses_in(traces, bench.noise());
  const PulseTemplate once = build_template(pulses, bench.noise());
  const PulseTemplate again = build_template(pulses, bench.noise());
  EXPECT_EQ(once.shape, again.shape);
  EXPECT_EQ(once.first_s, again.first_s);
  EXPECT_EQ(once.shape_uncertainty, again.shape_uncertainty);
}

TEST(template_building, pulses_at_one_place_between_samples_give_a_smooth_shape_that_still_times_them) {
  Bench bench(15);
  std::deque<ConditionedTrace> traces;
  for (int i = 0; i < 500; ++i) traces.push_back(bench.trace(10e-9 + 0.3 * interval));
  const PulseTemplate made = build_template(pulses_in(traces, bench.noise()), bench.noise());
  const test::Errors shift = fresh_errors(bench, made, 4000);
  EXPECT_LE(shift.deviation_s, 1.05 * shift.bound_s);
  // 0.9 ns edges are smooth enough for four and a half samples to fix them: no more than the noise of the
  // shape.
  EXPECT_LE(shift.phase_span_s, 3 * ps);
}

TEST(template_building, leaves_out_what_would_spoil_the_shape) {
  Bench bench(16);
  auto traces = traces_of(bench, 400);
  const PulseTemplate plain = build_template(pulses_in(traces, bench.noise()), bench.noise());
  const auto add = [&](ConditionedTrace trace) { traces.push_back(std::move(trace)); };
  for (int i = 0; i < 20; ++i) {
    ConditionedTrace clipped = bench.trace(bench.anywhere());
    for (std::size_t k = 0; k < clipped.volts.size(); ++k) {
      if (clipped.volts[k] < 0.7) continue;
      clipped.volts[k] = 0.7;
      clipped.clipped.push_back({k, k + 1});
    }
    add(clipped);
    ConditionedTrace doubled = bench.trace(bench.anywhere());  // a second pulse in its tail
    const ConditionedTrace later = bench.trace(bench.anywhere() + 4e-9, 0.6);
    for (std::size_t k = 0; k < doubled.volts.size(); ++k) doubled.volts[k] += later.volts[k];
    add(doubled);
    ConditionedTrace wide = bench.trace(bench.anywhere());  // of another shape
    for (std::size_t k = wide.volts.size() - 1; k > 60; --k) wide.volts[k] = wide.volts[k - (k - 60) / 3];
    add(wide);
  }
  const PulseTemplate made = build_template(pulses_in(traces, bench.noise()), bench.noise());
  EXPECT_GE(made.pulses_used, plain.pulses_used - 8);  // the outlier limit is drawn by other pulses now
  EXPECT_LE(made.pulses_used, plain.pulses_used + 8);
  const TemplateShape before(plain);
  const TemplateShape after(made);
  for (double t = -1e-9; t < 8e-9; t += 0.1e-9)
    EXPECT_NEAR(after.value(t), before.value(t), 3 * before.uncertainty(t)) << t;
}

TEST(template_building, takes_negative_pulses_of_many_heights_and_gives_a_positive_shape) {
  Bench bench(17);
  std::deque<ConditionedTrace> traces;
  for (int i = 0; i < 300; ++i) {
    ConditionedTrace trace = bench.trace(bench.anywhere(), bench.random().uniform(0.3, 1.5));
    for (double& volts : trace.volts) volts = 0.01 - volts;
    traces.push_back(std::move(trace));
  }
  const PulseTemplate made = build_template(pulses_in(traces, bench.noise()), bench.noise());
  const TemplateShape shape(made);
  for (double t = -1e-9; t < 8e-9; t += 0.1e-9)
    EXPECT_NEAR(shape.value(t), bench.shape()(t + bench.half()), 4.5 * shape.uncertainty(t)) << t;
}

TEST(template_building, refuses_too_few_pulses_and_options_out_of_range) {
  Bench bench(18);
  const auto traces = traces_of(bench, 30);
  const auto pulses = pulses_in(traces, bench.noise());
  const NoiseModel noise = bench.noise();
  EXPECT_NO_THROW(build_template(pulses, noise));
  EXPECT_THROW(build_template(std::span(pulses).first(19), noise), Error);
  EXPECT_THROW(build_template({}, noise), Error);
  EXPECT_THROW(build_template(pulses, noise, {.points_per_sample = 0}), Error);
  EXPECT_THROW(build_template(pulses, noise, {.points_per_sample = 65}), Error);
  EXPECT_THROW(build_template(pulses, noise, {.rounds = 0}), Error);
  EXPECT_THROW(build_template(pulses, noise, {.reference_fraction = 1}), Error);
  EXPECT_THROW(build_template(pulses, noise, {.lowest_height_over_noise = 1000}), Error);
}

}  // namespace
}  // namespace firstedge
