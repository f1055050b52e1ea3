// Claims of the crossing methods on pulses without noise, of what they do with bad pulses, and of their
// parts.
#include "firstedge/timing/crossing_edge.hpp"
#include "firstedge/timing/crossing_polynomial.hpp"

#include "support/timing_methods.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::constant;
using test::delayed;
using test::leading;
using test::Method;
using test::noiseless_stamp;
using test::stamp_of;

constexpr double ps = 1e-12;
constexpr double interval_s = 0.2e-9;
constexpr double start_s = 12e-9;

const test::SmoothPulse& shape() {
  static const test::SmoothPulse pulse;
  return pulse;
}

Stamp smooth_stamp(double height_v, double phase, const Method& method, double interval = interval_s) {
  return noiseless_stamp(test::smooth(shape(), start_s + phase * interval), height_v, 300, interval, method);
}

struct Named {
  std::string name;
  Method method;
};
std::vector<Named> relative_methods() {
  std::vector<Named> methods{{"delayed fraction", delayed({})},
                             {"delayed fraction between samples", delayed({.delay_s = 0.73e-9})},
                             {"delayed fraction, edge fitted", delayed({.edge_samples = 8})}};
  for (const double fraction : {0.2, 0.3, 0.4, 0.5, 0.6}) {
    methods.push_back({"constant fraction " + std::to_string(fraction), constant({.fraction = fraction})});
    methods.push_back({"constant fraction, edge fitted " + std::to_string(fraction),
                       constant({.fraction = fraction, .edge_samples = 8})});
  }
  return methods;
}

TEST(smooth_pulse, of_the_tests_has_the_edge_it_claims) {
  EXPECT_NEAR(shape().transition_s(), 0.9e-9, 1e-14);  // its three constants have seven digits
  EXPECT_NEAR(shape()(shape().peak_s()), 1, 1e-15);
}

TEST(constant_fraction, does_not_move_with_height) {
  for (const Named& one : relative_methods()) {
    for (const double phase : {0.0, 0.37, 0.81}) {
      const double low = smooth_stamp(0.01, phase, one.method).time_s;
      const double high = smooth_stamp(1.0, phase, one.method).time_s;
      // The methods are homogeneous in the samples: rounding of 15 ns is left, far below the 0.1 ps promised.
      EXPECT_NEAR(low, high, 1e-3 * ps) << one.name;
    }
  }
}

/// Peak to peak over 40 phases of the error on noiseless samples; noise_v is what the method is told of
/// noise.
double phase_shift_s(const Method& method, double noise_v) {
  double least = 1, most = -1;
  for (int step = 0; step < 40; ++step) {
    const double begin = start_s + step / 40.0 * interval_s;
    const auto volts = test::sampled(test::smooth(shape(), begin), 1, 300, interval_s);
    const Stamp stamp =
        stamp_of(test::conditioned(volts, interval_s), white_noise(noise_v, interval_s), method);
    least = std::min(least, stamp.time_s - begin);
    most = std::max(most, stamp.time_s - begin);
  }
  return most - least;
}

TEST(crossings, shift_with_the_phase_of_the_samples_by_less_than_two_picoseconds) {
  for (const double noise_v : {0.0, 1 / 200.0, 1 / 60.0}) {
    for (const Named& one : relative_methods())
      EXPECT_LT(phase_shift_s(one.method, noise_v), 2 * ps) << one.name;
    for (const double threshold : {0.1, 0.2, 0.3, 0.4, 0.5})
      EXPECT_LT(phase_shift_s(leading({.threshold_v = threshold}), noise_v), 2 * ps) << threshold;
    // Told of noise, an interpolation takes the run of samples that passes the least of it, and those of the
    // cubic differ by more than that: the reason why the quintic is what the methods use.
    const Method cubic = constant({.fraction = 0.3, .interpolation = Interpolation::cubic});
    EXPECT_LT(phase_shift_s(cubic, noise_v), 3 * ps);
  }
}

TEST(crossings, are_at_the_true_time_of_a_smooth_pulse) {
  for (const double fraction : {0.2, 0.3, 0.4, 0.5, 0.6}) {
    for (const double phase : {0.0, 0.2, 0.45, 0.7, 0.9}) {
      const double truth = start_s + phase * interval_s + shape().time_of_fraction(fraction);
      // The errors that the stamps state for the curve (0.5 ps, root mean square) at 4.5 samples an edge,
      // times three for the worst phase; the height adds 1e-3 * f * 0.9/0.8 ns = 0.6 ps.
      EXPECT_NEAR(smooth_stamp(1, phase, leading({.threshold_v = fraction})).time_s, truth, 1.5 * ps);
      EXPECT_NEAR(smooth_stamp(1, phase, constant({.fraction = fraction})).time_s, truth, 2 * ps);
    }
  }
}

TEST(crossings, do_not_depend_on_polarity_and_move_with_the_trace) {
  const auto volts = test::sampled(test::smooth(shape(), start_s), 0.5, 300, interval_s);
  std::vector<double> turned = volts;
  for (double& v : turned) v = -v;
  for (const Named& one : relative_methods()) {
    const NoiseModel noise = white_noise(1e-3, interval_s);
    const Stamp up = stamp_of(test::conditioned(volts, interval_s), noise, one.method);
    const Stamp down = stamp_of(test::conditioned(turned, interval_s), noise, one.method);
    const Stamp late = stamp_of(test::conditioned(volts, interval_s, 1e-6), noise, one.method);
    EXPECT_EQ(up.time_s, down.time_s) << one.name;
    EXPECT_EQ(up.uncertainty_s, down.uncertainty_s);
    EXPECT_EQ(up.height_v, down.height_v);
    EXPECT_EQ(down.polarity, -1);
    EXPECT_NEAR(late.time_s - up.time_s, 1e-6, 1e-21) << "rounding of a microsecond";
    EXPECT_EQ(late.uncertainty_s, up.uncertainty_s);
  }
}

TEST(crossings, fill_every_measure_of_the_stamp) {
  ConditionedTrace trace =
      test::conditioned(test::sampled(test::smooth(shape(), start_s), 0.5, 300, interval_s), interval_s);
  trace.baseline_v.value = 0.125;
  const NoiseModel noise = white_noise(1e-3, interval_s);
  const double at_half = shape().time_of_fraction(0.5);
  for (const Named& one :
       {Named{"constant", constant({.fraction = 0.5})}, Named{"leading", leading({.threshold_v = 0.25})}}) {
    const Stamp stamp = stamp_of(trace, noise, one.method);
    EXPECT_TRUE(stamp.flags.empty()) << to_text(stamp.flags);
    EXPECT_NEAR(stamp.height_v, 0.5, 0.5 * 1e-3) << "the error of peak_height";
    // Slopes to 6 %, as the edge says; here without noise in the samples, so the quintic's own error: 1 %.
    EXPECT_NEAR(stamp.slew_v_per_s, 0.5 * shape().slope_per_s(at_half), 0.01 * stamp.slew_v_per_s);
    EXPECT_NEAR(stamp.transition_duration_s, 0.9e-9, 3 * ps) << "two crossings of 1.5 ps";
    EXPECT_DOUBLE_EQ(stamp.noise_v, 1e-3);
    EXPECT_DOUBLE_EQ(stamp.baseline_v, 0.125);
    EXPECT_GT(stamp.charge_c, 0);
    EXPECT_TRUE(std::isnan(stamp.bound_s));
    EXPECT_TRUE(std::isnan(stamp.goodness));
  }
}

TEST(crossings, that_do_not_exist_are_flagged_and_counted_never_thrown) {
  const auto expect_untimed = [](const Stamp& stamp) {
    EXPECT_TRUE(stamp.flags.has(Flag::not_timed));
    EXPECT_TRUE(std::isnan(stamp.time_s));
    EXPECT_TRUE(std::isnan(stamp.uncertainty_s));
  };
  expect_untimed(smooth_stamp(1, 0, leading({.threshold_v = 1.1})));
  // The record starts on top of the pulse: no edge.
  const auto volts = test::sampled(test::smooth(shape(), 0), 1, 200, interval_s, shape().peak_s());
  for (const Named& one : relative_methods()) {
    const Stamp stamp =
        stamp_of(test::conditioned(volts, interval_s), white_noise(1e-3, interval_s), one.method);
    expect_untimed(stamp);
    EXPECT_TRUE(stamp.flags.has(Flag::edge_of_record));
    EXPECT_GT(stamp.height_v, 0.9);
  }
}

TEST(crossings, of_too_few_samples_or_too_near_the_noise_are_flagged) {
  EXPECT_FALSE(smooth_stamp(1, 0, constant({}), 0.28e-9).flags.has(Flag::undersampled));
  EXPECT_TRUE(smooth_stamp(1, 0, constant({}), 0.33e-9).flags.has(Flag::undersampled));
  const auto volts = test::sampled(test::smooth(shape(), start_s), 1, 300, interval_s);
  const auto flags = [&](double threshold_v) {
    return stamp_of(test::conditioned(volts, interval_s), white_noise(0.05, interval_s),
                    leading({.threshold_v = threshold_v}))
        .flags;
  };
  EXPECT_TRUE(flags(0.5).empty());
  EXPECT_EQ(flags(0.09), FlagSet(Flag::low_signal));
  EXPECT_EQ(flags(0.92), FlagSet(Flag::low_signal));
}

TEST(crossings, of_any_samples_at_all_are_finite_or_not_timed) {
  test::Random random(77);
  const double odd[] = {0, 1, -1, 1e300, -1e300, std::nan(""), std::numeric_limits<double>::infinity()};
  std::vector<Named> methods = relative_methods();
  methods.push_back({"leading edge", leading({})});
  methods.push_back({"delay beyond the record", delayed({.delay_s = 1})});
  for (int trial = 0; trial < 2000; ++trial) {
    const auto size = static_cast<std::size_t>(random.uniform(1, 40));
    std::vector<double> volts(size);
    for (double& v : volts) {
      const double draw = random.uniform(0, 1);
      v = draw < 0.9 ? random.normal(0, 3) : odd[static_cast<std::size_t>(random.uniform(0, 6.999))];
    }
    const ConditionedTrace trace = test::conditioned(std::move(volts), interval_s);
    const NoiseModel noise = white_noise(trial % 3 == 0 ? 0 : 0.5, interval_s);
    for (const Pulse& pulse : find_pulses(trace, noise, 50, {.threshold_over_noise = 3})) {
      ASSERT_LE(pulse.region.first, pulse.peak);
      ASSERT_LT(pulse.peak, pulse.region.last);
      ASSERT_LE(pulse.region.last, size);
      for (const Named& one : methods) {
        const Stamp stamp = one.method(trace, pulse, noise);
        const bool timed = std::isfinite(stamp.time_s) && stamp.uncertainty_s >= 0;
        ASSERT_NE(timed, stamp.flags.has(Flag::not_timed)) << one.name;
        if (timed) {
          ASSERT_GE(stamp.time_s, 0) << one.name;
          ASSERT_LE(stamp.time_s, static_cast<double>(size) * interval_s) << one.name;
        }
      }
    }
  }
}

TEST(gram_polynomials, tables_hold_what_the_recurrence_gives) {
  for (std::size_t count = 1; count <= most_ready_points; ++count) {
    const GramBasis basis = gram_basis(count);
    EXPECT_EQ(ready_gram_basis(count).norm, basis.norm);
    const auto rows = ready_gram_rows(count);
    ASSERT_EQ(rows.size(), count);
    GramTerms squares{};
    for (std::size_t k = 0; k < count; ++k) {
      EXPECT_EQ(rows[k], basis.at(static_cast<double>(k) - basis.middle));
      for (std::size_t j = 0; j < squares.size(); ++j) squares[j] += rows[k][j] * rows[k][j];
    }
    for (std::size_t j = 0; j < std::min<std::size_t>(count, highest_gram_degree + 1); ++j)
      EXPECT_NEAR(squares[j], basis.norm[j], 1e-13 * basis.norm[j]) << count;  // a few roundings
  }
}

TEST(peak_height, has_the_errors_that_its_comment_states) {
  const ChannelNoise silence = white_noise(0, 1);
  const SampleNoise none(silence, {});
  for (const auto& [samples, bound] : {std::pair{4.0, 3e-3}, {4.5, 2e-3}, {20.0, 1e-4}}) {
    const double interval = shape().transition_s() / samples;
    for (double phase = 0; phase < 1; phase += 0.05) {
      const auto volts = test::sampled(test::smooth(shape(), (30 + phase) * interval), 1, 300, interval);
      const auto peak =
          static_cast<std::size_t>(std::max_element(volts.begin(), volts.end()) - volts.begin());
      EXPECT_NEAR(peak_height(volts, {0, 300}, peak, samples, none).value_v, 1, bound) << samples;
    }
  }
}

TEST(peak_height, is_not_drawn_up_by_noise_and_knows_its_own) {
  for (const double over_noise : {15.0, 20.0, 60.0}) {
    test::Random random(31);
    const double noise_v = 1 / over_noise;
    const ChannelNoise model = white_noise(noise_v, interval_s);
    const SampleNoise noise(model, {});
    double sum = 0, squares = 0, variances = 0;
    constexpr int trials = 4000;
    for (int trial = 0; trial < trials; ++trial) {
      const double begin = start_s + random.uniform(0, interval_s);
      auto volts = test::sampled(test::smooth(shape(), begin), 1, 150, interval_s);
      random.add_white_noise(volts, noise_v);
      const auto peak =
          static_cast<std::size_t>(std::max_element(volts.begin(), volts.end()) - volts.begin());
      const PeakHeight height = peak_height(volts, {0, 150}, peak, 4.5, noise);
      sum += height.value_v - 1;
      squares += (height.value_v - 1) * (height.value_v - 1);
      variances += noise.variance_v2(height.weights);
    }
    const double mean = sum / trials, deviation = std::sqrt(squares / trials - mean * mean);
    EXPECT_NEAR(mean, 0, 0.1 * noise_v) << over_noise;
    // Second order of the noise in the step to the peak: a tenth at 15.
    EXPECT_NEAR(std::sqrt(variances / trials), deviation, 0.1 * deviation) << over_noise;
  }
}

TEST(peak_height, of_a_flat_top_is_its_mean) {
  test::Random random(32);
  auto volts = test::sampled(test::ramp(10, 5), 1, 200, 1);
  const double noise_v = 0.02;
  const ChannelNoise model = white_noise(noise_v, 1);
  const SampleNoise noise(model, {});
  double squares = 0;
  constexpr int trials = 500;
  for (int trial = 0; trial < trials; ++trial) {
    auto noisy = volts;
    random.add_white_noise(noisy, noise_v);
    const auto peak = static_cast<std::size_t>(std::max_element(noisy.begin(), noisy.end()) - noisy.begin());
    const double error = peak_height(noisy, {5, 200}, peak, 4, noise).value_v - 1;
    squares += error * error;
  }
  // The mean of some 180 samples, 1/180; but 0.54 % of tops show a slope or a bend of 3 deviations by chance
  // and are read near their highest sample, 2.7 deviations up: sqrt(1/180 + 0.0054 * 7.3) = 0.21.
  EXPECT_LT(std::sqrt(squares / trials), 0.21 * noise_v);
}

TEST(edge_curve, states_the_error_that_a_crossing_has_without_noise) {
  for (const EdgeCurve& curve : {EdgeCurve{Interpolation::linear, 0}, EdgeCurve{Interpolation::cubic, 0},
                                 EdgeCurve{Interpolation::quintic, 0}, EdgeCurve{Interpolation::cubic, 8}}) {
    for (const double samples : {4.0, 4.5, 6.0, 10.0}) {
      const double interval = shape().transition_s() / samples;
      double squares = 0;
      int count = 0;
      for (const double fraction : {0.2, 0.3, 0.4, 0.5, 0.6}) {
        for (double phase = 0.025; phase < 1; phase += 0.05) {
          const double begin = (40 + phase) * interval;
          const auto volts = test::sampled(test::smooth(shape(), begin), 1, 100, interval);
          const auto above =
              std::find_if(volts.begin(), volts.end(), [&](double v) { return v >= fraction; });
          const auto crossing =
              cross(volts, static_cast<std::size_t>(above - volts.begin()) - 1, fraction, curve, 0, samples);
          ASSERT_TRUE(crossing);
          const double error = crossing->position * interval - begin - shape().time_of_fraction(fraction);
          squares += std::pow(error / shape().transition_s(), 2);
          ++count;
        }
      }
      // The law is one for all shapes: within a factor of two of this one's.
      const double ratio = std::sqrt(squares / count) / curve.relative_error(samples);
      EXPECT_GT(ratio, 0.5) << samples << ' ' << curve.edge_samples;
      EXPECT_LT(ratio, 2.0) << samples << ' ' << curve.edge_samples;
    }
  }
}

TEST(local_polynomial, gives_back_a_polynomial_with_its_derivatives) {
  const auto p = [](double x) { return 2 - 3 * x + 0.5 * x * x - 0.1 * x * x * x + 0.01 * x * x * x * x; };
  std::vector<double> volts;
  for (int k = 0; k < 300; ++k) volts.push_back(p(k / 10.0 - 15));
  for (const std::size_t count : {5UL, 6UL, 9UL, 64UL, 257UL}) {
    const LocalPolynomial fit(volts, 20, count, 4);
    for (const double position : {20.0, 21.7, 23.9}) {
      const double x = position / 10 - 15;
      EXPECT_NEAR(fit.value(position), p(x), 1e-9) << count;  // rounding of values of 1e3
      EXPECT_NEAR(fit.slope(position), (-3 + x - 0.3 * x * x + 0.04 * x * x * x) / 10, 1e-9);
      EXPECT_NEAR(fit.bend(position), (1 - 0.6 * x + 0.12 * x * x) / 100, 1e-9);
      double from_weights = 0, gain = 0;
      const SampleWeights weights = fit.weights(position, 1);
      for (std::size_t k = 0; k < weights.weights().size(); ++k) {
        from_weights += weights.weights()[k] * volts[weights.first() + k];
        gain += weights.weights()[k] * weights.weights()[k];
      }
      EXPECT_NEAR(from_weights, fit.slope(position), 1e-9);
      EXPECT_NEAR(weights.sum(), 0, 1e-13);
      EXPECT_NEAR(fit.weights(position, 0).sum(), 1, 1e-13);
      EXPECT_NEAR(fit.slope_in_noise(position).noise_gain, std::sqrt(gain), 1e-12 * std::sqrt(gain));
      EXPECT_EQ(fit.slope_in_noise(position).slope, fit.slope(position));
      EXPECT_EQ(fit.derivatives(position).slope, fit.slope(position));
    }
  }
}

TEST(sample_noise, counts_quantisation_once_and_never_forgets_it) {
  ConditionedTrace trace;
  trace.step_v = 0.012;  // step^2/12 = 1.2e-5
  NoiseModel noise = white_noise(1e-3, interval_s);
  const auto deviation_v = [&] {
    const ChannelNoise known(noise);
    return SampleNoise(known, trace).deviation_v();
  };
  EXPECT_DOUBLE_EQ(deviation_v(), std::sqrt(1e-6 + 1.2e-5));
  noise.samples_used = 1000;
  EXPECT_DOUBLE_EQ(deviation_v(), std::sqrt(1.2e-5));
  noise.autocovariance_v2 = {1e-4};
  EXPECT_DOUBLE_EQ(deviation_v(), 1e-2);
}

TEST(sample_noise, adds_up_covariances_and_the_baseline) {
  ConditionedTrace trace;
  trace.baseline_v.uncertainty = 0.5;
  const ChannelNoise known =
      NoiseModel{.interval_s = 1, .autocovariance_v2 = {4, 1, 0.25}, .samples_used = 0};
  SampleWeights weights;
  weights.add(7, 1);
  weights.add(5, 2);
  weights.add(6, -1);
  weights.add(9, 0.5);
  // w = (2, -1, 1, 0, 0.5): w'Cw = 4 * 6.25 + 2 * 1 * (-3) + 2 * 0.25 * (2 + 0.5), and (2.5 * 0.5)^2.
  EXPECT_DOUBLE_EQ(SampleNoise(known, trace).variance_v2(weights), 25 - 6 + 1.25 + 1.5625);
  trace.baseline_v.uncertainty = std::nan("");
  EXPECT_DOUBLE_EQ(SampleNoise(known, trace).variance_v2(weights), 25 - 6 + 1.25);
}

}  // namespace
}  // namespace firstedge
