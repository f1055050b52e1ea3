// Location, spread and histogram: edge cases that their headers decide, and the counts that must add up.
#include "firstedge/stats/spread.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/histogram.hpp"
#include "firstedge/stats/running_median.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

TEST(spread, no_values_give_nan) {
  const std::vector<double> nothing;
  const std::vector<double> unusable{nan, infinity, -infinity};
  for (const auto& values : {nothing, unusable}) {
    EXPECT_TRUE(std::isnan(median(values)));
    EXPECT_TRUE(std::isnan(scaled_median_deviation(values)));
    EXPECT_TRUE(std::isnan(central_half_width(values)));
    EXPECT_TRUE(std::isnan(moments(values).mean.value));
    EXPECT_EQ(moments(values).not_finite, values.size());
    EXPECT_TRUE(std::isnan(shorth_of_sorted(finite_sorted(values)).mean));
  }
}

TEST(spread, the_uncertainty_of_a_median_holds_for_a_skewed_distribution_too) {
  // By hand: 0 to 99 in steps of 1: quantiles at 0.5 +- 0.05 are 49.5 +- 4.95.
  std::vector<double> even;
  for (int i = 0; i < 100; ++i) even.push_back(i);
  EXPECT_NEAR(median_estimate(even).value, 49.5, 1e-12);
  EXPECT_NEAR(median_estimate(even).uncertainty, 4.95, 1e-12);
  EXPECT_TRUE(std::isnan(median_estimate(std::vector{7.0}).uncertainty));
  EXPECT_TRUE(std::isnan(median_estimate(std::vector<double>{}).value));
  // Medians of 400 exponential values, the true one is ln 2. The uncertainty rests on 20 values and scatters
  // by 1/sqrt(20): 68.3 % less 0.242 x 1/20 are 67.1 % within one; 1.05 % is the standard deviation of 2,000
  // trials, and 3.3 of them are 3.5 %; 1 % for the interpolation.
  test::Random random(17);
  constexpr int trials = 2000;
  int within = 0;
  for (int i = 0; i < trials; ++i) {
    std::vector<double> values;
    for (int k = 0; k < 400; ++k) values.push_back(-std::log(random.uniform(0, 1)));
    const Estimate found = median_estimate(values);
    within += std::abs(found.value - std::log(2.0)) <= found.uncertainty ? 1 : 0;
  }
  EXPECT_NEAR(within / static_cast<double>(trials), 0.671, 0.045);
}

TEST(running_median, lies_within_its_error_of_the_median_in_any_order) {
  test::Random random(4);
  std::vector<double> values;
  for (int i = 0; i < 1001; ++i) values.push_back(std::exp(random.normal(-25, 2)));
  RunningMedian forwards, backwards;
  for (const double value : values) forwards.add(value);
  std::reverse(values.begin(), values.end());
  for (const double value : values) backwards.add(value);
  for (const double useless : {0.0, -1.0, nan, infinity}) forwards.add(useless);
  EXPECT_EQ(forwards.count(), 1001U);
  EXPECT_NEAR(forwards.value() / median(values), 1, running_median_error);
  EXPECT_EQ(forwards.value(), backwards.value());
  EXPECT_TRUE(std::isnan(RunningMedian().value()));
  // The lower of two, and the ends of the range of doubles.
  RunningMedian two;
  two.add(3e300);
  two.add(5e-324);
  EXPECT_LT(two.value(), 1e-300);
  two.add(3e300);
  EXPECT_NEAR(two.value() / 3e300, 1, running_median_error);
}

TEST(spread, wild_values_do_not_move_the_robust_measures_beyond_the_neighbours) {
  std::vector<double> values;
  for (int i = 0; i <= 100; ++i) values.push_back(i);
  const double before = median(values);
  values.insert(values.end(), {1e30, -1e30, nan});
  EXPECT_NEAR(median(values), before, 1);
  EXPECT_NEAR(scaled_median_deviation(values), normal_per_median_deviation * 25, 2);
  EXPECT_NEAR(central_half_width(values), 34.13, 2);
}

TEST(spread, a_large_common_offset_costs_the_deviation_no_digits) {
  const std::vector<double> small{1, 2, 3, 4};
  std::vector<double> large;
  for (const double value : small) large.push_back(value + 1e9);
  EXPECT_DOUBLE_EQ(moments(large).deviation.value, moments(small).deviation.value);
}

TEST(histogram, every_value_is_counted_somewhere) {
  test::Random random(11);
  std::vector<double> values{nan, infinity, 3.0, -3.0};
  for (int i = 0; i < 1000; ++i) values.push_back(random.normal(0, 2));
  const Histogram counts = histogram(values, even_edges(-3, 3, 7));
  EXPECT_EQ(counts.inside() + counts.below + counts.above + counts.not_finite, values.size());
  EXPECT_EQ(counts.not_finite, 2U);
  EXPECT_GT(counts.below, 0U);
}

}  // namespace
}  // namespace firstedge
