// Claims of the pulse measures and of the transforms: noise, short pulses, odd input.
#include "firstedge/signal/pulse_measures.hpp"

#include "firstedge/signal/fft.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr double interval_s = 0.2e-9;

TEST(pulse_measures, a_short_pulse_has_its_peak_for_a_state) {
  const std::vector<double> volts = test::sampled(test::gaussian(10e-9, 0.5e-9), 0.3, 100, interval_s);
  const PulseMeasures measures = measure_pulse(volts, interval_s);
  EXPECT_NEAR(measures.amplitude_v, 0.3, 0.003);  // one bin of a hundred
  EXPECT_NEAR(measures.low_state_v, 0, 0.003);
  // 2 sqrt(2 ln 2) * 0.5 ns, linear interpolation wrong by h^2/8 |v''/v'| = 6 ps at either end.
  EXPECT_NEAR(measures.pulse_duration_s, 1.1774e-9, 15e-12);
}

TEST(pulse_measures, noise_moves_them_as_little_as_it_must) {
  test::Random random(71);
  std::vector<double> volts = test::sampled(test::ramp(20e-9, 4e-9), -0.5, 500, interval_s);
  random.add_white_noise(volts, 5e-3);
  const PulseMeasures measures = measure_pulse(volts, interval_s);
  EXPECT_EQ(measures.polarity, -1);
  // A mode among bins of one standard deviation: within two of them.
  EXPECT_NEAR(measures.amplitude_v, 0.5, 4 * 5e-3);
  // Noise over slope: 5 mV / (0.5 V / 4 ns) = 40 ps, and a state's error of as much; four of them.
  EXPECT_NEAR(measures.instant_middle_s, 22e-9, 0.2e-9);
  EXPECT_NEAR(measures.transition_duration_s, 3.2e-9, 0.4e-9);
}

TEST(pulse_measures, they_shift_with_the_pulse_and_scale_with_its_height) {
  std::vector<double> volts = test::sampled(test::double_exponential(10e-9, 1e-9, 5e-9), 1, 300, interval_s);
  const PulseMeasures one = measure_pulse(volts, interval_s);
  std::vector<double> later = volts;
  later.insert(later.begin(), 10, 0.0);
  later.resize(volts.size());
  for (double& value : later) value = 0.1 - 2 * value;
  const PulseMeasures two = measure_pulse(later, interval_s);
  EXPECT_EQ(two.polarity, -one.polarity);
  EXPECT_NEAR(two.amplitude_v, 2 * one.amplitude_v, 0.02);
  EXPECT_NEAR(two.instant_middle_s, one.instant_middle_s + 2e-9, 0.02e-9);
  EXPECT_NEAR(two.pulse_duration_s, one.pulse_duration_s, 0.1e-9);
  EXPECT_NEAR(two.slew_v_per_s, 2 * one.slew_v_per_s, 0.02 * two.slew_v_per_s);
}

TEST(pulse_measures, what_a_waveform_does_not_have_is_nan) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const std::vector<double>& volts :
       {std::vector<double>{}, {1.0}, {2.0, 2.0, 2.0}, {0.0, nan, 1.0}, {0.0, 1e308, -1e308}}) {
    const PulseMeasures measures = measure_pulse(volts, interval_s);
    EXPECT_TRUE(std::isnan(measures.instant_middle_s) || volts.size() == 3);
  }
  const PulseMeasures step = measure_pulse(std::vector<double>{0, 0, 0, 1, 1, 1}, 1);
  EXPECT_NEAR(step.instant_middle_s, 2.5, 1e-12);
  EXPECT_TRUE(std::isnan(step.pulse_duration_s));
  EXPECT_TRUE(std::isnan(step.second_transition_duration_s));
  const PulseMeasures tiny_histogram =
      measure_pulse(std::vector<double>{0, 0, 1, 1}, 1, {.histogram_bins = 0});
  EXPECT_EQ(tiny_histogram.amplitude_v, 1);
}

TEST(charge, is_the_integral_over_the_load) {
  // 0.1 V for 10 ns into 50 ohm: 20 pC; the trapezoidal rule is exact on straight lines.
  std::vector<double> volts(51, 0.1);
  EXPECT_NEAR(charge_c(volts, 0.2e-9, 50), 20e-12, 1e-24);
  for (std::size_t i = 0; i < volts.size(); ++i) volts[i] = -0.2 * static_cast<double>(i) / 50;
  EXPECT_NEAR(charge_c(volts, 0.2e-9, 50), -20e-12, 1e-24);
  EXPECT_EQ(charge_c(std::vector<double>{1.0}, 1, 50), 0);
  EXPECT_TRUE(std::isnan(charge_c(volts, 1, 0)));
  EXPECT_TRUE(std::isnan(charge_c(volts, 1, std::nan(""))));
}

TEST(fft, equals_the_slow_sum_and_comes_back) {
  test::Random random(72);
  for (const std::size_t size : {1U, 2U, 3U, 8U, 15U, 64U, 101U}) {
    std::vector<double> values(size, 0.0);
    random.add_white_noise(values, 1);
    const auto lines = forward_fft(values);
    ASSERT_EQ(lines.size(), size / 2 + 1);
    for (std::size_t k = 0; k < lines.size(); ++k) {
      std::complex<double> sum = 0;
      for (std::size_t i = 0; i < size; ++i)
        sum += values[i] * std::polar(1.0, -2 * std::numbers::pi * static_cast<double>(k * i) /
                                               static_cast<double>(size));
      EXPECT_LT(std::abs(lines[k] - sum), 1e-12) << size;  // 101 terms of rounding 1e-16 * angle 600
    }
    const std::vector<double> back = inverse_fft(lines, size);
    for (std::size_t i = 0; i < size; ++i) EXPECT_NEAR(back[i], values[i], 1e-14);
  }
  EXPECT_TRUE(forward_fft({}).empty());
  EXPECT_TRUE(inverse_fft({}, 0).empty());
}

}  // namespace
}  // namespace firstedge
