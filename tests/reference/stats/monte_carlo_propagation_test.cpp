// The examples of JCGM 101:2008, clause 9: printed figures from memory, checked by an independent computation
// of 4e6 draws with NumPy. Margins: four standard deviations of the drawn figure, a false alarm in 1 of
// 16,000; seeds are fixed.
#include "firstedge/stats/monte_carlo_propagation.hpp"

#include "firstedge/core/error.hpp"

#include <cmath>
#include <limits>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
using In = std::span<const double>;

double sum_of(In x) {
  return std::accumulate(x.begin(), x.end(), 0.0);
}

DrawnInputs four(Distribution distribution, double last = 1) {
  return {.inputs = {.estimates = {{0, 1}, {0, 1}, {0, 1}, {0, last}}, .correlation = {}},
          .distributions = std::vector<Distribution>(4, distribution)};
}

constexpr std::size_t trials = 400'000;
// The quantile 0.975 of a normal distribution of deviation 2 scatters by sqrt(p (1 - p)/n)/density =
// 2 sqrt(0.025 * 0.975/4e5)/0.05845 = 0.0084; of four rectangular ones by less.
constexpr double margin = 4 * 0.0084;

TEST(monte_carlo_reference, four_normal_inputs_of_9_2_2) {
  const Drawn drawn = draw_output(sum_of, four(Distribution::normal), trials);
  EXPECT_NEAR(drawn.mean, 0, 4 * 2 / std::sqrt(trials));
  EXPECT_NEAR(drawn.deviation, 2.00, 4 * 2 / std::sqrt(2.0 * trials));
  EXPECT_NEAR(drawn.symmetric.high, 3.92, margin);
  EXPECT_NEAR(drawn.symmetric.low, -3.92, margin);
}

TEST(monte_carlo_reference, four_rectangular_inputs_of_9_2_3) {
  const Drawn drawn = draw_output(sum_of, four(Distribution::rectangular), trials);
  EXPECT_NEAR(drawn.deviation, 2.00, 4 * 2 / std::sqrt(2.0 * trials));
  EXPECT_NEAR(drawn.symmetric.high, 3.8785, margin);  // 3.88 in print; the law of propagation says 3.92
  EXPECT_NEAR(drawn.symmetric.low, -3.8785, margin);
  const Propagated law = propagate(sum_of, four(Distribution::rectangular).inputs);
  EXPECT_NEAR(expanded_uncertainty(law.output, 0.95), 3.92, 0.005);
}

TEST(monte_carlo_reference, one_input_that_outweighs_the_rest_of_9_2_4) {
  const Drawn drawn = draw_output(sum_of, four(Distribution::rectangular, 10), trials);
  EXPECT_NEAR(drawn.deviation, 10.15, 4 * 10.15 / std::sqrt(2.0 * trials) + 0.005);
  // 17.0 in print, 17.01 checked. The rectangle's edge at 17.32, smoothed by 1.73, has the density 0.0165
  // there (0.0289 Phi(0.18)): scatter sqrt(0.025 * 0.975/4e5)/0.0165 = 0.015.
  EXPECT_NEAR(drawn.symmetric.high, 17.01, 4 * 0.015 + 0.005);
  const Propagated law = propagate(sum_of, four(Distribution::rectangular, 10).inputs);
  EXPECT_NEAR(expanded_uncertainty(law.output, 0.95), 19.9, 0.05);
}

TEST(monte_carlo_reference, mass_calibration_of_9_3) {
  const double third = 1 / std::sqrt(3.0);
  const DrawnInputs inputs{
      .inputs = {.estimates = {{100000.0, 0.050},
                               {1.234, 0.020},
                               {1.20, 0.1 * third},
                               {8000, 1000 * third},
                               {8000, 50 * third}},
                 .correlation = {}},
      .distributions = {Distribution::normal, Distribution::normal, Distribution::rectangular,
                        Distribution::rectangular, Distribution::rectangular}};
  const Measurand mass = [](In x) {
    return (x[0] + x[1]) * (1 + (x[2] - 1.2) * (1 / x[3] - 1 / x[4])) - 1e5;
  };
  const Propagated law = propagate(mass, inputs.inputs);
  EXPECT_NEAR(law.output.value, 1.2340, 5e-5);
  EXPECT_NEAR(law.output.uncertainty, 0.0539, 5e-5);
  const double more = second_order_variance(mass, inputs.inputs);
  EXPECT_NEAR(std::sqrt(law.output.uncertainty * law.output.uncertainty + more), 0.0750, 5e-5);
  const Drawn drawn = draw_output(mass, inputs, trials);
  EXPECT_NEAR(drawn.mean, 1.2341, 4 * 0.0754 / std::sqrt(trials));
  // 0.0754 in print, 0.07547 checked.
  EXPECT_NEAR(drawn.deviation, 0.07547, 4 * 0.0754 / std::sqrt(2.0 * trials));
  // Shortest interval [1.0834, 1.3825] in print, [1.0843, 1.3833] checked: its ends scatter by 0.001 at 4e6
  // draws (as stated there), 0.003 here.
  EXPECT_NEAR(drawn.shortest.low, 1.0838, 4 * 0.003);
  EXPECT_NEAR(drawn.shortest.high, 1.3829, 4 * 0.003);
  // Its width is steadier than its place: 0.2990 +- 0.001 (derived from the scatter of the quantiles).
  EXPECT_NEAR(drawn.shortest.high - drawn.shortest.low, 0.2990, 0.002);
  EXPECT_LE(drawn.shortest.high - drawn.shortest.low, drawn.symmetric.high - drawn.symmetric.low);
}

// JCGM 101:2008, 9.5: the end gauge with its distributions, nm and degrees; table of inputs from memory. The
// rectangles of the last two have limits that are not known exactly (1 +- 0.1 per million and degree, 0.05 +-
// 0.025 degrees; curvilinear trapezoids, 6.4.3): a rectangle of half width 1 times its limit.
TEST(monte_carlo_reference, gauge_block_of_9_5) {
  const double third = 1 / std::sqrt(3.0);
  using enum Distribution;
  const DrawnInputs inputs{.inputs = {.estimates = {{50000623, 25, 18},
                                                    {215, 6, 24},
                                                    {0, 4, 5},
                                                    {0, 7, 8},
                                                    {11.5e-6, 2e-6 * third},
                                                    {-0.1, 0.2},
                                                    {0, 0.5 / std::sqrt(2.0)},
                                                    {0, third},
                                                    {0, third},
                                                    {1e-6, 0.1e-6 * third},
                                                    {0.05, 0.025 * third}},
                                      .correlation = {}},
                           .distributions = {student_t, student_t, student_t, student_t, rectangular, normal,
                                             u_shaped, rectangular, rectangular, rectangular, rectangular}};
  const Measurand deviation = [](In x) {
    return x[0] + x[1] + x[2] + x[3] - x[0] * (x[7] * x[9] * (x[5] + x[6]) + x[4] * x[8] * x[10]) - 5e7;
  };
  const Propagated law = propagate(deviation, inputs.inputs);
  EXPECT_NEAR(law.output.value, 838, 0.5);
  EXPECT_NEAR(law.output.uncertainty, 32, 0.5);
  const Drawn drawn = draw_output(deviation, inputs, trials, {.coverage = 0.99});
  EXPECT_NEAR(drawn.mean, 837.98, 4 * 36 / std::sqrt(trials));
  // 36 in print; 35.81 checked. t tails widen the scatter of a deviation to some 1.2 times the normal one.
  EXPECT_NEAR(drawn.deviation, 35.81, 4 * 1.2 * 36 / std::sqrt(2.0 * trials));
  // [745, 932] in print, [744.9, 932.0] checked. Scatter of the normal quantile 0.995:
  // 36 sqrt(0.005 * 0.995/4e5)/0.0145 = 0.28 nm; the shortest interval slides by about as much again.
  EXPECT_NEAR(drawn.shortest.low, 744.9, 4 * 0.4);
  EXPECT_NEAR(drawn.shortest.high, 932.0, 4 * 0.4);
}

TEST(monte_carlo_reference, moments_of_each_distribution) {
  for (const auto& [distribution, kurtosis] :
       std::vector<std::pair<Distribution, double>>{{Distribution::normal, 3},
                                                    {Distribution::rectangular, 1.8},
                                                    {Distribution::triangular, 2.4},
                                                    {Distribution::u_shaped, 1.5}}) {
    const Drawn drawn = draw_output(
        [](In x) { return x[0]; },
        {.inputs = {.estimates = {{5, 2}}, .correlation = {}}, .distributions = {distribution}}, trials);
    EXPECT_NEAR(drawn.mean, 5, 4 * 2 / std::sqrt(trials)) << to_text(distribution);
    // The variance of s is s^2 (kurtosis - 1)/(4 n).
    EXPECT_NEAR(drawn.deviation, 2, 4 * 2 * std::sqrt((kurtosis - 1) / (4.0 * trials)))
        << to_text(distribution);
    double fourth = 0;
    for (const double one : drawn.sorted) fourth += std::pow((one - 5) / 2, 4) / trials;
    // Closed-form kurtosis; the fourth power scatters by at most sqrt(96/n) (normal).
    EXPECT_NEAR(fourth, kurtosis, 4 * std::sqrt(96.0 / trials)) << to_text(distribution);
  }
  // t with 10 degrees of freedom: deviation u sqrt(10/8), kurtosis 4.
  const Drawn t = draw_output(
      [](In x) { return x[0]; },
      {.inputs = {.estimates = {{0, 1, 10}}, .correlation = {}}, .distributions = {Distribution::student_t}},
      trials);
  EXPECT_NEAR(t.deviation, std::sqrt(1.25), 4 * std::sqrt(1.25) * std::sqrt(3 / (4.0 * trials)));
  EXPECT_NEAR(t.symmetric.high, coverage_factor(10, 0.95), 4 * std::sqrt(0.025 * 0.975 / trials) / 0.04);
}

TEST(monte_carlo_reference, correlated_inputs_are_drawn_together) {
  const double r = -0.8;
  const DrawnInputs inputs{.inputs = {.estimates = {{1, 3}, {2, 4}}, .correlation = {1, r, r, 1}},
                           .distributions = {}};
  const Drawn drawn = draw_output(sum_of, inputs, trials);
  EXPECT_NEAR(drawn.deviation, std::sqrt(9 + 16 + 2 * r * 12), 4 * 2.41 / std::sqrt(2.0 * trials));
  const DrawnInputs full{.inputs = {.estimates = {{1, 3}, {2, 3}}, .correlation = {1, 1, 1, 1}},
                         .distributions = {}};
  const Drawn difference = draw_output([](In x) { return x[1] - x[0]; }, full, fewest_trials);
  EXPECT_NEAR(difference.deviation, 0, 1e-14);  // rounding of values of 10
}

TEST(monte_carlo_reference, adaptive_drawing_stops_when_its_digits_stand) {
  DrawnInputs inputs = four(Distribution::normal);
  for (Estimate& one : inputs.inputs.estimates) one.uncertainty = 4;
  const Drawn coarse = draw_output_adaptively(sum_of, inputs, {.significant_digits = 1});
  const Drawn fine = draw_output_adaptively(sum_of, inputs, {.significant_digits = 2});
  EXPECT_TRUE(coarse.settled);
  EXPECT_TRUE(fine.settled);
  EXPECT_LT(coarse.sorted.size(), fine.sorted.size());
  // JCGM 101, 7.9: two standard deviations are half a unit of the second digit; doubled for a false alarm in
  // 1 of 16,000.
  EXPECT_NEAR(fine.deviation, 8.0, 2 * 0.05);
  EXPECT_NEAR(fine.symmetric.high, 15.68, 2 * 0.05);
  const Drawn unsettled = draw_output_adaptively(sum_of, four(Distribution::normal),
                                                 {.significant_digits = 4, .most_trials = 100000});
  EXPECT_FALSE(unsettled.settled);
  // More trials go on from fewer: the same seed gives the same draws.
  EXPECT_EQ(draw_output(sum_of, four(Distribution::normal), unsettled.sorted.size()).sorted,
            unsettled.sorted);
}

TEST(monte_carlo_reference, what_makes_no_sense_is_refused) {
  const auto one = [](std::vector<double> correlation, std::vector<Distribution> kinds) {
    const DrawnInputs inputs{
        .inputs = {.estimates = {{1, 1}, {1, 1}, {1, 1}}, .correlation = std::move(correlation)},
        .distributions = std::move(kinds)};
    return draw_output(sum_of, inputs, fewest_trials);
  };
  EXPECT_NO_THROW(one({}, {}));
  // Each alone is possible, all three together are not.
  EXPECT_THROW(one({1, -0.9, -0.9, -0.9, 1, -0.9, -0.9, -0.9, 1}, {}), Error);
  EXPECT_THROW(one({1, 0.5, 0, 0.5, 1, 0, 0, 0, 1}, std::vector<Distribution>(3, Distribution::triangular)),
               Error);
  EXPECT_THROW(one({1, 0.5, 0, 0.4, 1, 0, 0, 0, 1}, {}), Error);
  EXPECT_THROW(one({}, {Distribution::normal}), Error);
  EXPECT_THROW(draw_output(sum_of, {}, fewest_trials), Error);
  EXPECT_THROW(draw_output(sum_of, four(Distribution::normal), 10), Error);
  EXPECT_THROW(propagate(sum_of, {.estimates = {{0, -1}}, .correlation = {}}), Error);
  EXPECT_THROW(propagate(sum_of, {.estimates = {{0, 1, 0}}, .correlation = {}}), Error);
  EXPECT_THROW(propagate([](In x) { return std::log(x[0]); }, {.estimates = {{0, 1}}, .correlation = {}}),
               Error);
  EXPECT_EQ(propagate(sum_of, {.estimates = {{1, 0, infinite}}, .correlation = {}}).output.uncertainty, 0);
}

}  // namespace
}  // namespace firstedge
