// The template fit held to published and closed-form spreads.
#include "firstedge/timing/template_fit.hpp"

#include "support/template_pulses.hpp"
#include "support/timed_pulses.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// S. Kay, Estimation Theory (1993) ex. 3.13 for a Gaussian pulse of 1 V, sp = 1 ns, sampled every 0.1 ns in
// white noise of 0.01 V: bound 3.35913555 ps (derived from the formula); 20,000 least-squares fits by another
// program gave 3.349 ps (recomputed for the project's list of check values).
TEST(template_fit_reference, gaussian_pulse_is_timed_at_the_bound) {
  constexpr double interval = 0.1e-9;
  constexpr int pulses = 20'000;
  const test::Shape shape = test::gaussian(0, 1e-9);
  const double half = -std::sqrt(2 * std::log(2.0)) * 1e-9;
  const PulseTemplate made = test::exact_template(shape, half, interval / 8, -5e-9, 8e-9);
  const NoiseModel noise = white_noise(0.01, interval);
  const TemplateFit fit(made, noise);
  test::Random random(52);
  double sum = 0;
  double squares = 0;
  for (int i = 0; i < pulses; ++i) {
    const double truth = 12e-9 + random.uniform(0, interval);
    auto trace = test::conditioned(test::sampled(test::gaussian(truth, 1e-9), 1, 240, interval), interval);
    random.add_white_noise(trace.volts, 0.01);
    const Stamp stamp = fit(trace, find_pulses(trace, noise, 50, {}).front());
    const double error = stamp.time_s - (truth + half);
    sum += error;
    squares += error * error;
    if (i > 0) continue;
    // At 1 V. Free height and baseline cost nothing; the template's ends at 5 sigma cut 1e-5 off.
    EXPECT_NEAR(stamp.bound_s * stamp.height_v, 3.35913555e-12, 1e-4 * 3.36e-12);
    EXPECT_NEAR(stamp.uncertainty_s * stamp.height_v, 3.35913555e-12, 1e-4 * 3.36e-12);
  }
  const double mean = sum / pulses;
  const double deviation = std::sqrt(squares / pulses - mean * mean);
  // Three standard errors: 1/sqrt(2 n) of a deviation, 1/sqrt(n) deviations of a mean.
  EXPECT_NEAR(deviation, 3.35913555e-12, 3 * 3.36e-12 / std::sqrt(2.0 * pulses));
  EXPECT_NEAR(deviation, 3.349e-12, 3 * std::sqrt(2.0) * 3.36e-12 / std::sqrt(2.0 * pulses));  // two samples
  EXPECT_LT(std::abs(mean), 3 * 3.36e-12 / std::sqrt(pulses));
}

}  // namespace
}  // namespace firstedge
