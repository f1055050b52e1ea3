// Claims of the echo fit and the correlation: exact without noise, and what the correlation reads too much.
#include "firstedge/delay/echo_fit.hpp"

#include "firstedge/delay/correlation.hpp"

#include "support/line_measurements.hpp"
#include "support/random.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

PairOfMeans without_noise(const LinePlan& line) {
  SimulationPlan plan = test::through_plan(1, 500, line, 0);
  plan.channels[0].digitizer.bits = plan.channels[1].digitizer.bits = 0;
  return test::through_average(plan, 1).means();
}

EchoData whole(const PairOfMeans& means) {
  return {means.before, means.after, {0, means.after.size()}};
}

TEST(echo_fit, finds_delay_and_loss_of_a_line_without_noise) {
  for (const double skin_s : {0.02e-9, 0.3e-9}) {
    const PairOfMeans means = without_noise({.delay_s = 23.4567e-9, .skin_s = skin_s});
    const EchoFit fit = fit_echoes(whole(means), first_guess(whole(means)));
    EXPECT_TRUE(fit.converged);
    // What the header promises: 1e-4 of an interval, 3e-4 of K (the simulation's own tail ends too).
    EXPECT_NEAR(fit.model.echoes[0].delay_s, 23.4567e-9, 1e-4 * means.before.interval_s()) << skin_s;
    EXPECT_NEAR(fit.model.loss_constant / std::sqrt(skin_s), 1, 3e-4) << skin_s;
  }
}

TEST(echo_fit, a_trace_without_the_pulse_has_none_of_it) {
  PairOfMeans means = without_noise({.delay_s = 10e-9, .skin_s = 0.1e-9});
  means.before.head.noise = means.after.head.noise = white_noise(1e-3, means.before.interval_s());
  for (double& volts : means.after.volts) volts = 0;
  test::Random(1).add_white_noise(means.after.volts, 1e-3);
  const EchoFit fit = fit_echoes(whole(means), first_guess(whole(means)));
  // The best of some 500 places in noise stands out by 3.1 standard deviations; 6 once in 10^6.
  EXPECT_LT(std::abs(fit.gain(0).value), 6 * fit.gain(0).uncertainty);
}

TEST(correlation, reads_a_pure_delay_to_rounding) {
  // 0.331 of a sample is where a parabola through three samples of a sinc peak is off the most, by 0.119
  // (dsp.stackexchange.com/questions/44116).
  const PairOfMeans means = without_noise({.delay_s = (100 + 0.331) * 0.2e-9, .skin_s = 0});
  const CorrelationDelay found = correlation_delay(means.before, means.after);
  // What the header promises: 1e-6 sample; interpolation of the simulated shape is off by 1e-7 of the peak.
  EXPECT_NEAR(found.delay_s.value / 0.2e-9, 100.331, 1e-6);
  EXPECT_NEAR(found.coefficient, 1, 1e-6);
  EXPECT_FALSE(found.ambiguous);
}

TEST(correlation, inverted_pulse_has_a_negative_coefficient_and_the_same_delay) {
  PairOfMeans means = without_noise({.delay_s = 7.77e-9, .skin_s = 0});
  for (double& volts : means.after.volts) volts *= -2;
  const CorrelationDelay found = correlation_delay(means.before, means.after);
  EXPECT_NEAR(found.delay_s.value, 7.77e-9, 1e-6 * 0.2e-9);
  EXPECT_NEAR(found.coefficient, -1, 1e-6);
}

TEST(correlation, equal_lobes_are_told) {
  PairOfMeans means = without_noise({.delay_s = 5e-9, .skin_s = 0});
  means.before.head.noise = means.after.head.noise = white_noise(1e-3, means.before.interval_s());
  // The same pulse once more, 20 ns later.
  for (std::size_t i = 499; i >= 100; --i) means.after.volts[i] += means.after.volts[i - 100];
  EXPECT_TRUE(correlation_delay(means.before, means.after).ambiguous);
}

}  // namespace
}  // namespace firstedge
