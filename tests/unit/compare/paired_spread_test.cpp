// What the comparison of spreads promises: false alarms as rare as the level says, real differences found,
// scans with their optimum and flatness.
#include "firstedge/compare/paired_spread.hpp"

#include "firstedge/compare/scan.hpp"
#include "firstedge/core/error.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using Columns = std::vector<std::vector<double>>;

// Normal columns of the given spreads (ps); a part of each row is common to all.
Columns normal_columns(test::Random& random, const std::vector<double>& sigmas, std::size_t rows,
                       double common) {
  Columns columns(sigmas.size(), std::vector<double>(rows));
  for (std::size_t row = 0; row < rows; ++row) {
    const double shared = random.normal(0, 1);
    for (std::size_t c = 0; c < sigmas.size(); ++c)
      columns[c][row] =
          1e-12 * sigmas[c] * (std::sqrt(common) * shared + std::sqrt(1 - common) * random.normal(0, 1));
  }
  return columns;
}

bool any_told_apart(const ComparedSpreads& spreads) {
  return std::any_of(spreads.comparisons.begin(), spreads.comparisons.end(),
                     [](const auto& pair) { return pair.first_is_better() || pair.second_is_better(); });
}

class equal_methods : public testing::TestWithParam<double> {};

TEST_P(equal_methods, are_told_apart_no_more_often_than_the_level) {
  test::Random random(11);
  constexpr int trials = 200;
  int alarms = 0;
  for (int trial = 0; trial < trials; ++trial) {
    const Columns columns = normal_columns(random, {30, 30, 30, 30}, 300, GetParam());
    alarms += any_told_apart(compare_spreads(columns, 0.05, {.resamples = 200})) ? 1 : 0;
  }
  // Binomial with 200 trials of 0.05: more than 21 has a probability of 8e-4 (SciPy binom.sf).
  EXPECT_LE(alarms, 21);
}

INSTANTIATE_TEST_SUITE_P(with_common_part, equal_methods, testing::Values(0.0, 0.9));

TEST(paired_spread, a_wider_method_is_beaten_and_the_ratio_is_true) {
  test::Random random(12);
  const ComparedSpreads spreads = compare_spreads(normal_columns(random, {30, 45, 30}, 800, 0.5), 0.05, {});
  // Standard error of a central half width: 0.962/sqrt(800) = 3.4 % (stats/spread.hpp); 4 of them.
  EXPECT_NEAR(spreads.half_width[0].value, 30e-12, 4 * 0.034 * 30e-12);
  EXPECT_NEAR(spreads.half_width[0].uncertainty, 0.034 * 30e-12, 0.3 * 0.034 * 30e-12);
  EXPECT_TRUE(spreads.comparisons[0].first_is_better());   // 30 against 45
  EXPECT_TRUE(spreads.comparisons[2].second_is_better());  // 45 against 30
  EXPECT_FALSE(spreads.comparisons[1].first_is_better() || spreads.comparisons[1].second_is_better());
  EXPECT_LT(spreads.comparisons[0].interval.low, 30.0 / 45);
  EXPECT_GT(spreads.comparisons[0].interval.high, 30.0 / 45);
  EXPECT_LT(spreads.comparisons[0].chance, 0.01);
}

TEST(paired_spread, what_is_common_to_the_records_drops_out_of_a_comparison) {
  test::Random random(13);
  const auto interval_of = [&](double common) {
    const auto spreads = compare_spreads(normal_columns(random, {30, 33}, 800, common), 0.05, {});
    return spreads.comparisons[0].interval.high / spreads.comparisons[0].interval.low;
  };
  // The variance of the logarithm falls with the square of the correlation, 1 - 0.95^2 = 0.1: a third in
  // width.
  EXPECT_LT(std::log(interval_of(0.95)), 0.6 * std::log(interval_of(0)));
}

TEST(paired_spread, equal_columns_and_few_rows_say_nothing_and_the_seed_fixes_the_bits) {
  test::Random random(14);
  Columns columns = normal_columns(random, {30, 31}, 100, 0);
  const auto once = compare_spreads(columns, 0.05, {.resamples = 50}),
             again = compare_spreads(columns, 0.05, {.resamples = 50});
  EXPECT_EQ(once.comparisons[0].interval.low, again.comparisons[0].interval.low);
  columns[1] = columns[0];
  EXPECT_FALSE(any_told_apart(compare_spreads(columns, 0.05, {.resamples = 50})));
  for (auto& column : columns) column.resize(5);
  const auto few = compare_spreads(columns, 0.05, {.resamples = 50});
  EXPECT_FALSE(any_told_apart(few));
  EXPECT_TRUE(std::isnan(few.half_width[0].value));
  columns[1].push_back(1);
  EXPECT_THROW(compare_spreads(columns, 0.05, {}), Error);
  columns[1] = {1, 2, NAN, 4, 5};
  EXPECT_THROW(RankedColumn{columns[1]}, Error);
}

// Spreads on an exact parabola with its bottom at 0.42.
double parabola(double setting) {
  return 30 + 100 * (setting - 0.42) * (setting - 0.42);
}

TEST(scan, optimum_and_flat_range_of_a_parabola_are_exact) {
  test::Random random(15);
  const std::vector<double> settings{0.5, 0.1, 0.2, 0.3, 0.4, 0.6, 0.7};
  const std::vector<double> base = normal_columns(random, {1}, 400, 0).front();
  Columns columns;
  for (const double setting : settings) {
    columns.push_back(base);
    for (double& value : columns.back()) value *= parabola(setting);
  }
  const Scan scan = scan_of(settings, columns, 0.05, {.resamples = 50});
  EXPECT_NEAR(scan.optimum.value, 0.42, 1e-9);  // a parabola through three of its points; rounding
  EXPECT_EQ(scan.setting[scan.best], 0.4);
  EXPECT_FALSE(scan.at_end);
  // Straight lines from 31.44 at 0.3 to 34.84 at 0.2 and from 30.64 at 0.5 to 33.24 at 0.6 meet 1.05 * 30.04.
  const double limit = 1.05 * parabola(0.4);
  EXPECT_NEAR(scan.flat_from, 0.3 - 0.1 * (limit - parabola(0.3)) / (parabola(0.2) - parabola(0.3)), 1e-9);
  EXPECT_NEAR(scan.flat_to, 0.5 + 0.1 * (limit - parabola(0.5)) / (parabola(0.6) - parabola(0.5)), 1e-9);
}

TEST(scan, the_optimum_of_noisy_columns_is_true_within_its_uncertainty_and_an_end_is_told) {
  test::Random random(16);
  std::vector<double> settings, sigmas;
  for (double setting = 0.1; setting < 0.85; setting += 0.1) {
    settings.push_back(setting);
    sigmas.push_back(30 + 400 * (setting - 0.42) * (setting - 0.42));
  }
  const Scan scan = scan_of(settings, normal_columns(random, sigmas, 2000, 0.5), 0.05, {.resamples = 200});
  EXPECT_NEAR(scan.optimum.value, 0.42, 4 * scan.optimum.uncertainty);
  EXPECT_LT(scan.optimum.uncertainty, 0.1);  // the grid's own step
  const Scan falling =
      scan_of({1, 2, 3}, normal_columns(random, {90, 60, 30}, 200, 0), 0.05, {.resamples = 50});
  EXPECT_TRUE(falling.at_end);
  EXPECT_EQ(falling.optimum.value, 3);
  EXPECT_THROW(scan_of({1, 1}, normal_columns(random, {1, 1}, 50, 0), 0.05, {}), Error);
  EXPECT_THROW(scan_of({}, {}, 0.05, {}), Error);
}

}  // namespace
}  // namespace firstedge
