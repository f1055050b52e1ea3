// Published jitter formulas of crossings, by simulation with fixed seeds, and the published weights of local
// polynomials. Every simulation also holds the stated uncertainty to the formula.
#include "firstedge/timing/crossing_polynomial.hpp"

#include "support/timing_methods.hpp"

#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::constant;
using test::delayed;
using test::leading;
using test::Method;
using test::Shape;

constexpr double ns = 1e-9;
constexpr int trials = 4000;
/// The standard deviation of `trials` Gaussian numbers has a relative standard error of 1/sqrt(2 trials)
/// = 1.1 %; four of them.
constexpr double tolerance = 0.045;

struct Jitter {
  double deviation_s;
  double stated_s;  ///< root mean square of the uncertainties
};

/// Spread of the stamps of one pulse with fresh noise each time. The pulse is given, not searched: the
/// formulas are on the crossing alone.
Jitter jitter(const std::vector<double>& clean, double interval_s, double noise_v, const SampleRange& region,
              std::size_t peak, const Method& method) {
  test::Random random(2024);
  const NoiseModel noise = white_noise(noise_v, interval_s);
  Pulse pulse;
  pulse.region = region;
  pulse.peak = peak;
  pulse.height_v = clean[peak];
  double sum = 0, squares = 0, variances = 0;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> volts = clean;
    random.add_white_noise(volts, noise_v);
    const Stamp stamp = method(test::conditioned(std::move(volts), interval_s), pulse, noise);
    sum += stamp.time_s;
    squares += stamp.time_s * stamp.time_s;
    variances += stamp.uncertainty_s * stamp.uncertainty_s;
  }
  const double mean = sum / trials;
  return {std::sqrt(squares / trials - mean * mean), std::sqrt(variances / trials)};
}

void expect_jitter(const Jitter& got, double expected_s, const char* what) {
  EXPECT_NEAR(got.deviation_s, expected_s, tolerance * expected_s) << what;
  // The stated one is an average of slopes, not of squares of noise: 2 % covers the fitted slopes.
  EXPECT_NEAR(got.stated_s, expected_s, 0.02 * expected_s) << what;
}

constexpr double interval_s = 0.1 * ns;

// sigma_t = sigma_n/|dV/dt| (H. Spieler, lecture V.5, 1998, docslib 7019955). Gaussian at its steepest point
// (t = -s): sigma_n s sqrt(e)/A; A = 1, s = 1 ns, sigma_n = 0.01: 16.4872127 ps (derived). The steepest point
// is a sample, and the noise is a hundredth of that example, so that the crossing stays at the sample: away
// from it interpolation averages neighbours (next test but one).
TEST(jitter_reference, gaussian_pulse_at_its_steepest_point) {
  const auto clean = test::sampled(test::gaussian(10 * ns, 1 * ns), 1, 200, interval_s);
  const double steepest_v = std::exp(-0.5);
  expect_jitter(jitter(clean, interval_s, 1e-4, {60, 140}, 100, leading({.threshold_v = steepest_v})),
                0.164872127e-12, "leading edge");
}

// The same source: single pole at fraction f, sigma_n tau/(A (1 - f)); linear ramp, sigma_n tr/A.
TEST(jitter_reference, single_pole_and_linear_ramp) {
  const double noise_v = 1e-4, tau = 2 * ns;
  const double f = -std::expm1(-0.5);  // the sample at tau/2
  const auto pole = test::sampled(test::rc_step(10 * ns, tau), 1, 400, interval_s);
  expect_jitter(jitter(pole, interval_s, noise_v, {99, 400}, 300, leading({.threshold_v = f})),
                noise_v * tau / (1 - f), "single pole");
  const auto ramp = test::sampled(test::ramp(10 * ns, 4 * ns), 1, 400, interval_s);
  expect_jitter(jitter(ramp, interval_s, noise_v, {99, 400}, 300, leading({.threshold_v = 0.5})),
                noise_v * 4 * ns, "linear ramp");
}

// Linear interpolation at the part a of the interval between two samples: variance sigma_n^2 ((1 - a)^2 +
// a^2) over the slope squared, 1/2 at a = 0.5 (derived).
TEST(jitter_reference, linear_interpolation_averages_two_samples) {
  const double noise_v = 1e-3, rise = 4 * ns;
  for (const double part : {0.1, 0.25, 0.5, 0.75}) {
    const auto ramp = test::sampled(test::ramp(10 * ns - part * interval_s, rise), 1, 400, interval_s);
    const double gain = std::sqrt((1 - part) * (1 - part) + part * part);
    // Half the height is then crossed at the part 1 - part of an interval: the gain is the same.
    expect_jitter(jitter(ramp, interval_s, noise_v, {98, 400}, 300,
                         leading({.threshold_v = 0.5, .interpolation = Interpolation::linear})),
                  gain * noise_v * rise, "linear interpolation");
  }
}

// Delayed fraction with noise that is independent in both branches (white, delay of many samples): true
// constant fraction sigma_n sqrt(1 + f^2) tr/A, compensated for height and rise time sigma_n sqrt(1 + f^2)
// tr/((1 - f) A) (derived). Crossings and delays fall on samples.
TEST(jitter_reference, delayed_fraction_of_a_linear_ramp) {
  const double noise_v = 1e-4, rise = 4 * ns, f = 0.2;
  const auto ramp = test::sampled(test::ramp(10 * ns, rise), 1, 400, interval_s);
  const double both = std::sqrt(1 + f * f) * noise_v * rise;
  expect_jitter(
      jitter(ramp, interval_s, noise_v, {99, 400}, 300, delayed({.fraction = f, .delay_s = 4 * ns})), both,
      "true constant fraction");
  expect_jitter(
      jitter(ramp, interval_s, noise_v, {99, 400}, 300, delayed({.fraction = f, .delay_s = 1.6 * ns})),
      both / (1 - f), "compensated");
}

// Constant fraction of a pulse with a flat top of n samples: the noise of the crossing and, f/sqrt(n) of it,
// of the height (derived). n = 271: samples 140 to 425, less ends of 0.75 * 0.8 * 40 samples (see
// peak_height).
TEST(jitter_reference, constant_fraction_of_a_linear_ramp_with_a_flat_top) {
  const double noise_v = 1e-4, rise = 4 * ns, f = 0.5;
  const auto ramp = test::sampled(test::ramp(10 * ns, rise), 1, 450, interval_s);
  const double expected = noise_v * rise * std::sqrt(1 + f * f / 250);
  expect_jitter(jitter(ramp, interval_s, noise_v, {99, 450}, 300, constant({.fraction = f})), expected,
                "constant fraction");
}

// A. Savitzky, M. J. E. Golay, Anal. Chem. 36 (1964) 1627, tables I and III: smoothing by quadratics and
// cubics,
// (-3 12 17 12 -3)/35 and (-2 3 6 7 6 3 -2)/21; by quartics, (5 -30 75 131 75 -30 5)/231; first derivative by
// cubics, (22 -67 -58 0 58 67 -22)/252 (table IV). Signs and digits from memory of the tables.
TEST(local_polynomial_reference, weights_are_those_of_savitzky_and_golay) {
  const std::vector<double> volts(7, 0.0);
  const auto expect = [&](std::size_t count, int degree, int derivative, const std::vector<double>& weights,
                          double divisor) {
    const LocalPolynomial fit(volts, 0, count, degree);
    const SampleWeights got = fit.weights((static_cast<double>(count) - 1) / 2, derivative);
    ASSERT_EQ(got.weights().size(), weights.size());
    for (std::size_t k = 0; k < weights.size(); ++k)
      EXPECT_NEAR(got.weights()[k], weights[k] / divisor, 1e-15);  // rounding
  };
  expect(5, 2, 0, {-3, 12, 17, 12, -3}, 35);
  expect(7, 3, 0, {-2, 3, 6, 7, 6, 3, -2}, 21);
  expect(7, 4, 0, {5, -30, 75, 131, 75, -30, 5}, 231);
  expect(7, 3, 1, {22, -67, -58, 0, 58, 67, -22}, 252);
}

}  // namespace
}  // namespace firstedge
