// Published and closed-form values of the Cramer-Rao bound of a pulse's time.
#include "firstedge/timing/time_bound.hpp"

#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using std::numbers::pi;

std::vector<double> at_times(const std::function<double(double)>& function, double first, double interval,
                             std::size_t samples) {
  std::vector<double> values(samples);
  for (std::size_t i = 0; i < samples; ++i) values[i] = function(first + static_cast<double>(i) * interval);
  return values;
}

// The Gaussian pulse of A = 1 V, sp = 1 ns, sampled every 0.1 ns over +-8 ns.
constexpr double interval = 0.1e-9;
std::vector<double> gaussian() {
  return at_times([](double t) { return std::exp(-0.5 * t * t * 1e18); }, -8e-9, interval, 161);
}
std::vector<double> gaussian_slope() {
  return at_times([](double t) { return -t * 1e18 * std::exp(-0.5 * t * t * 1e18); }, -8e-9, interval, 161);
}

// S. Kay, Estimation Theory (1993) ex. 3.13: var >= sn^2 dt / int s'^2 dt; for a Gaussian pulse
// 2 sn^2 dt sp / (A^2 sqrt(pi)): 1.1283791671e-5 ns^2, 3.35913555 ps (derived by algebra from the formula).
TEST(time_bound_reference, gaussian_pulse_in_white_noise) {
  const double bound = time_bound_s(gaussian_slope(), white_noise(0.01, interval));
  EXPECT_NEAR(bound, std::sqrt(2 * 1e-4 * 0.1 * 1.0 / std::sqrt(pi)) * 1e-9, 1e-11 * bound);
  EXPECT_NEAR(bound, 3.35913555e-12, 0.5e-20);  // half of the last digit printed
  EXPECT_NEAR(bound * bound * 1e18, 1.1283791671e-5, 0.5e-15);
}

// The same example: free height or baseline does not change it, since the derivative is odd (derived).
TEST(time_bound_reference, free_height_and_baseline_cost_a_symmetric_pulse_nothing) {
  const NoiseModel noise = white_noise(0.01, interval);
  const double known = time_bound_s(gaussian_slope(), noise);
  // Rounding of 161 products, and exp(-32) of the pulse cut off.
  EXPECT_NEAR(time_bound_with_height_s(gaussian_slope(), gaussian(), noise), known, 1e-12 * known);
}

// Derived: int s'^2 = A^2 (td - tr)^2 / (2 td tr (td + tr)) = 0.368181818182 for td = 10, tr = 1, A = 1;
// E = 3.68181818182, F2 = int s'^2 / E = 0.1.
TEST(time_bound_reference, double_exponential) {
  constexpr double step = 1e-3;
  const auto slope = [](double t) { return std::exp(-t) - 0.1 * std::exp(-0.1 * t); };
  const auto shape = [](double t) { return std::exp(-0.1 * t) - std::exp(-t); };
  // Midpoints up to 200: the rule is wrong by step^2/24 (f'(end) - f'(start)) with |f'| < 2 : 1e-7.
  const auto slopes = at_times(slope, 0.5 * step, step, 200'000);
  const double sigma = 0.3;
  const double information = std::pow(time_bound_s(slopes, white_noise(sigma, step)), -2);
  EXPECT_NEAR(information * sigma * sigma * step, 0.368181818182, 2e-7);
  const auto shapes = at_times(shape, 0.5 * step, step, 200'000);
  double energy = 0;
  for (const double value : shapes) energy += value * value * step;
  EXPECT_NEAR(information * sigma * sigma * step / energy, 0.1, 1e-7);
  // Starts and ends at zero: free height and baseline cost nothing (int s s' = 0, int s' = 0; derived).
  // The sums of s' and s s' differ from 0 by step^2/24 of the slopes' jump: 1e-7 relative at the most.
  EXPECT_NEAR(time_bound_with_height_s(slopes, shapes, white_noise(sigma, step)) * std::sqrt(information), 1,
              1e-7);
}

// Derived: two-sided exponential F2 = 1/tau^2, E = A^2 tau, so int s'^2 = A^2/tau; rising single-pole step
// A^2/(2 tau), and no finite bound as tau goes to 0.
TEST(time_bound_reference, exponential_edges) {
  constexpr double step = 1e-3;
  constexpr double sigma = 0.1;
  const NoiseModel noise = white_noise(sigma, step);
  for (const double tau : {0.5, 2.0}) {
    const auto samples = static_cast<std::size_t>(60 * tau / step);
    const auto two_sided =
        at_times([&](double t) { return (t < 0 ? 1 : -1) / tau * std::exp(-std::abs(t) / tau); },
                 -30 * tau + 0.5 * step, step, samples);
    const auto one_sided =
        at_times([&](double t) { return std::exp(-t / tau) / tau; }, 0.5 * step, step, samples);
    const double scale = sigma * sigma * step;
    // Midpoint rule: relative error (step/tau)^2/6 < 1e-6.
    EXPECT_NEAR(scale * std::pow(time_bound_s(two_sided, noise), -2) * tau, 1, 1e-6);
    EXPECT_NEAR(scale * std::pow(time_bound_s(one_sided, noise), -2) * 2 * tau, 1, 1e-6);
  }
}

// The bound in coloured noise by its spectral form: 1/var = (1/2 pi) int |D(w)|^2 / S(w) dw, D the transform
// of the slope's samples, S that of the autocovariance (Kay 1993, the asymptotic form; from memory).
double spectral_bound(const std::vector<double>& slope, const NoiseModel& noise) {
  constexpr int lines = 4096;  // trapezoid over a period: exact for sums of fewer lags
  double information = 0;
  for (int line = 0; line < lines; ++line) {
    const double w = 2 * pi * line / lines;
    double real = 0;
    double imaginary = 0;
    for (std::size_t n = 0; n < slope.size(); ++n) {
      real += slope[n] * std::cos(w * static_cast<double>(n));
      imaginary += slope[n] * std::sin(w * static_cast<double>(n));
    }
    double density = noise.autocovariance_v2[0];
    for (std::size_t k = 1; k < noise.autocovariance_v2.size(); ++k)
      density += 2 * noise.autocovariance_v2[k] * std::cos(w * static_cast<double>(k));
    information += (real * real + imaginary * imaginary) / density / lines;
  }
  return 1 / std::sqrt(information);
}

TEST(time_bound_reference, coloured_noise_agrees_with_the_spectral_form) {
  NoiseModel falling{.interval_s = interval,
                     .autocovariance_v2 = {}};  // first-order autoregressive, 0.8^60 = 1.5e-6 cut off
  NoiseModel band{.interval_s = interval,
                  .autocovariance_v2 = {}};  // Gaussian band of correlation length 2 samples, white floor
  for (int k = 0; k < 60; ++k) {
    falling.autocovariance_v2.push_back(1e-4 * std::pow(0.8, k));
    band.autocovariance_v2.push_back(1e-4 * std::exp(-0.125 * k * k) + (k == 0 ? 1e-5 : 0));
  }
  for (const NoiseModel& noise : {falling, band}) {
    const double bound = time_bound_s(gaussian_slope(), noise);
    // The pulse is 1e-14 at the ends of the stretch, so only the order of prediction counts: 1e-4 (its
    // header) at the worst, and 0.8^60 against a density of 1/9 of the white one.
    EXPECT_NEAR(bound, spectral_bound(gaussian_slope(), noise), 2e-5 * bound);
  }
}

// First-order autoregressive noise has a tridiagonal inverse: d'C^-1 d = (d0^2 (1 - r^2) + sum (dn - r
// dn-1)^2) / (var (1 - r^2)) (derived; a textbook result).
TEST(time_bound_reference, autoregressive_noise_in_closed_form) {
  const auto slope = gaussian_slope();
  for (const double r : {-0.7, 0.3, 0.95}) {
    NoiseModel noise{.interval_s = interval, .autocovariance_v2 = {}};
    for (std::size_t k = 0; k < slope.size(); ++k)
      noise.autocovariance_v2.push_back(1e-4 * std::pow(r, static_cast<double>(k)));
    double sum = slope[0] * slope[0] * (1 - r * r);
    for (std::size_t n = 1; n < slope.size(); ++n) sum += std::pow(slope[n] - r * slope[n - 1], 2);
    const double closed = std::sqrt(1e-4 * (1 - r * r) / sum);
    EXPECT_NEAR(time_bound_s(slope, noise), closed, 1e-12 * closed);  // rounding of 161 products
  }
}

}  // namespace
}  // namespace firstedge
