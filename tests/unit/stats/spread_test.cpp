// Location, spread and histogram: edge cases that their headers decide, and the counts that must add up.
#include "firstedge/stats/spread.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/histogram.hpp"

#include "support/random.hpp"

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
