// Bootstrap, Gaussian core, least squares and the Landau fit: what their headers decide for edge cases.
#include "firstedge/core/error.hpp"
#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/gaussian_core.hpp"
#include "firstedge/stats/landau_gaussian_fit.hpp"
#include "firstedge/stats/least_squares.hpp"
#include "firstedge/stats/spread.hpp"

#include "support/landau_variate.hpp"
#include "support/random.hpp"
#include "support/sentence_of.hpp"

#include <cmath>
#include <limits>
#include <numeric>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

std::vector<double> normal_sample(std::size_t count, std::uint64_t seed, double mean = 0, double sigma = 1) {
  test::Random random(seed);
  std::vector<double> values;
  for (std::size_t i = 0; i < count; ++i) values.push_back(random.normal(mean, sigma));
  return values;
}

Statistics mean_of_rows(const std::vector<double>& values) {
  return [&values](std::span<const std::uint32_t> multiplicity) {
    double sum = 0, count = 0;
    for (std::size_t i = 0; i < values.size(); ++i) {
      sum += multiplicity[i] * values[i];
      count += multiplicity[i];
    }
    return std::vector{sum / count};
  };
}

TEST(bootstrap, a_resample_does_not_depend_on_how_many_are_drawn) {
  const std::vector<double> values = normal_sample(50, 1);
  std::vector<std::vector<double>> seen;
  for (const std::size_t resamples : {20, 60}) {
    std::vector<double> drawn;
    const auto statistics = [&](std::span<const std::uint32_t> multiplicity) {
      drawn.push_back(mean_of_rows(values)(multiplicity)[0]);
      return std::vector{drawn.back()};
    };
    bootstrap(values.size(), statistics, {.resamples = resamples, .seed = 9});
    seen.push_back(drawn);
  }
  for (std::size_t i = 0; i < seen[0].size(); ++i) EXPECT_EQ(seen[0][i], seen[1][i]);
}

TEST(bootstrap, a_figure_that_cannot_be_had_is_left_out_of_its_own_interval_only) {
  int call = 0;
  const auto statistics = [&](std::span<const std::uint32_t> multiplicity) {
    return std::vector{++call % 2 == 0 ? nan : 1.0, static_cast<double>(multiplicity[0])};
  };
  const Bootstrap drawn = bootstrap(4, statistics, {.resamples = 20});
  EXPECT_EQ(drawn.figures[0].resamples, 10U);
  EXPECT_EQ(drawn.figures[1].resamples, 20U);
  EXPECT_EQ(drawn.covariance_of(0, 0), 0);
  EXPECT_DOUBLE_EQ(drawn.covariance_of(1, 1), std::pow(drawn.figures[1].standard_error, 2));
}

TEST(bootstrap, no_rows_give_nothing_and_senseless_options_are_refused) {
  const std::vector<double> nothing;
  const Bootstrap drawn = bootstrap(0, mean_of_rows(nothing), {});
  EXPECT_TRUE(std::isnan(drawn.figures[0].standard_error));
  EXPECT_TRUE(std::isnan(drawn.figures[0].corrected.low));
  for (const BootstrapOptions& options : {BootstrapOptions{.resamples = 19}, BootstrapOptions{.coverage = 0},
                                          BootstrapOptions{.coverage = nan}})
    EXPECT_THROW(bootstrap(0, mean_of_rows(nothing), options), Error);
}

TEST(quantiles, of_repeated_values_are_those_of_the_list_written_out) {
  test::Random random(4);
  const std::vector<double> sorted = finite_sorted(normal_sample(30, 2));
  for (int round = 0; round < 20; ++round) {
    std::vector<std::uint32_t> multiplicity;
    std::vector<double> written;
    for (const double value : sorted) {
      multiplicity.push_back(static_cast<std::uint32_t>(random.uniform(0, 3)));
      written.insert(written.end(), multiplicity.back(), value);
    }
    for (const double p : {0.0, 0.1587, 0.5, 0.99, 1.0})
      EXPECT_DOUBLE_EQ(quantile_of_sorted(sorted, multiplicity, p), quantile_of_sorted(written, p));
  }
  EXPECT_TRUE(std::isnan(quantile_of_sorted(sorted, std::vector<std::uint32_t>(30, 0), 0.5)));
}

TEST(gaussian_core, tells_what_is_no_normal_distribution) {
  using Outcome = GaussianCore::Outcome;
  EXPECT_EQ(fit_gaussian_core(std::vector<double>{}).outcome, Outcome::too_few);
  EXPECT_EQ(fit_gaussian_core(normal_sample(19, 1)).outcome, Outcome::too_few);
  EXPECT_EQ(fit_gaussian_core(std::vector<double>(100, 7.0)).outcome, Outcome::no_spread);
  EXPECT_EQ(fit_gaussian_core(std::vector<double>(100, nan)).outcome, Outcome::too_few);
  std::vector<double> two_spikes(200, -1);
  for (std::size_t i = 0; i < 100; ++i) two_spikes[i] = 1;
  // Hollow in a window of one width; a wide window takes the two for one normal distribution.
  const GaussianCore hollow = fit_gaussian_core(two_spikes, {.window_sigmas = 1});
  EXPECT_EQ(hollow.outcome, Outcome::no_peak);
  EXPECT_FALSE(hollow.usable());
  EXPECT_TRUE(std::isnan(hollow.width.value));
  EXPECT_NEAR(fit_gaussian_core(two_spikes).width.value, 1, 0.1);
  EXPECT_THAT(test::sentence_of([] { fit_gaussian_core(normal_sample(30, 1), {.window_sigmas = nan}); }),
              HasSubstr("give 1 to 10"));
}

TEST(gaussian_core, moves_with_the_values_and_scales_with_them) {
  const std::vector<double> values = normal_sample(500, 3);
  std::vector<double> moved;
  for (const double value : values) moved.push_back(5e-9 + 2e-11 * value);
  const GaussianCore here = fit_gaussian_core(values);
  const GaussianCore there = fit_gaussian_core(moved);
  // 5e-9 of which 2e-11 is looked at: 250 roundings of 1e-16.
  EXPECT_NEAR(there.width.value, 2e-11 * here.width.value, 1e-12 * 2e-11);
  EXPECT_NEAR(there.centre.value, 5e-9 + 2e-11 * here.centre.value, 1e-12 * 2e-11);
  EXPECT_NEAR(there.fraction.value, here.fraction.value, 1e-12);
}

TEST(gaussian_core, wild_values_count_as_tails_and_no_more) {
  std::vector<double> values = normal_sample(500, 3);
  const GaussianCore before = fit_gaussian_core(values);
  values.insert(values.end(), {infinity, nan, 1e300, -1e300});
  const GaussianCore after = fit_gaussian_core(values);
  EXPECT_EQ(after.total, 502U);
  // A neighbouring window at the most (header), and its scatter.
  EXPECT_NEAR(after.width.value, before.width.value, 1.5 * before.width.uncertainty);
  EXPECT_NEAR(after.centre.value, before.centre.value, 1.5 * before.centre.uncertainty);
}

TEST(least_squares, hopeless_equations_give_nan_and_not_a_guess) {
  const std::vector<double> unit{1, 0, 0, 1};
  // Two equal columns determine nothing.
  EXPECT_TRUE(std::isnan(
      least_squares(std::vector<double>{1, 1, 2, 2}, std::vector<double>{1, 2}, unit).parameters[0]));
  EXPECT_TRUE(
      std::isnan(least_squares(std::vector<double>{1, 2}, std::vector<double>{1, nan}, unit).parameters[0]));
  // Fewer values than parameters.
  EXPECT_TRUE(
      std::isnan(least_squares(std::vector<double>{1, 2}, std::vector<double>{1}, std::vector<double>{1})
                     .parameters[1]));
}

TEST(least_squares, a_covariance_that_is_none_leaves_plain_least_squares) {
  const std::vector<double> design{1, 1}, values{1, 3};
  const LinearFit fit = least_squares(design, values, std::vector<double>{1, 2, 2, 1});
  EXPECT_FALSE(fit.weighted);
  EXPECT_DOUBLE_EQ(fit.parameters[0], 2);
  EXPECT_TRUE(std::isnan(fit.chi_square));
  EXPECT_FALSE(least_squares(design, values, std::vector<double>{0, 0, 0, 0}).weighted);
}

TEST(least_squares, numbers_of_any_size_lose_no_digits) {
  // 1e-24 and 1e+12: squares of picoseconds against inverse squares of microvolts.
  const std::vector<double> design{1e12, 1, 2e12, 1, 4e12, 1};
  const std::vector<double> values{3e-24, 5e-24, 9e-24};
  std::vector<double> covariance(9, 0.0);
  for (const std::size_t i : {0, 4, 8}) covariance[i] = 1e-50;
  const LinearFit fit = least_squares(design, values, covariance);
  EXPECT_NEAR(fit.parameters[0], 2e-36, 1e-46);
  EXPECT_NEAR(fit.parameters[1], 1e-24, 1e-34);
}

std::vector<double> landau_sample(std::size_t count, std::uint64_t seed, double blur) {
  test::Random random(seed);
  std::vector<double> values;
  for (std::size_t i = 0; i < count; ++i)
    values.push_back(10 + test::landau_variate(random) + random.normal(0, blur));
  return values;
}

TEST(landau_fit, tells_what_cannot_be_fitted) {
  using Outcome = LandauGaussianFit::Outcome;
  EXPECT_EQ(fit_landau_gaussian(std::vector<double>{}).outcome, Outcome::too_few);
  EXPECT_EQ(fit_landau_gaussian(std::vector<double>(100, nan)).not_finite, 100U);
  EXPECT_EQ(fit_landau_gaussian(std::vector<double>(100, 3.0)).outcome, Outcome::no_spread);
  const LandauGaussianFit normal = fit_landau_gaussian(normal_sample(1000, 5, 10, 1));
  EXPECT_EQ(normal.outcome, Outcome::no_landau_width);
  EXPECT_TRUE(std::isnan(normal.most_probable.value));
  EXPECT_FALSE(normal.usable());
  EXPECT_THROW(fit_landau_gaussian(normal_sample(100, 1), {.low = 2, .high = 1}), Error);
  EXPECT_THROW(fit_landau_gaussian(normal_sample(100, 1), {.low = nan}), Error);
}

TEST(landau_fit, without_a_blur_the_gaussian_width_is_0_or_compatible_with_it) {
  for (const std::uint64_t seed : {1, 2, 3, 4}) {
    const LandauGaussianFit fit = fit_landau_gaussian(landau_sample(800, seed, 0));
    ASSERT_TRUE(fit.usable()) << words_of(fit.outcome);
    if (fit.outcome == LandauGaussianFit::Outcome::found) {
      // The likelihood goes with the square of the width, whose uncertainty is 2 width u(width): four of
      // these.
      EXPECT_LT(fit.gaussian_width.value, 4 * 2 * fit.gaussian_width.uncertainty);
    } else {
      EXPECT_EQ(fit.gaussian_width.value, 0);
    }
    EXPECT_NEAR(fit.landau_width.value, 1, 5 * fit.landau_width.uncertainty);
  }
}

TEST(landau_fit, values_outside_are_counted_and_change_nothing) {
  std::vector<double> values = landau_sample(800, 7, 1);
  const LandauGaussianFitOptions range{.low = 8, .high = 40};
  const LandauGaussianFit before = fit_landau_gaussian(values, range);
  values.insert(values.end(), {nan, infinity, -infinity, 1e300, -1e300, 7.9, 40.1});
  const LandauGaussianFit after = fit_landau_gaussian(values, range);
  EXPECT_EQ(after.most_probable.value, before.most_probable.value);
  EXPECT_EQ(after.not_finite, 3U);
  EXPECT_EQ(after.below, before.below + 2);
  EXPECT_EQ(after.above, before.above + 2);
  EXPECT_EQ(after.inside + after.below + after.above + after.not_finite, values.size());
}

TEST(landau_fit, wild_values_in_the_range_do_no_harm) {
  std::vector<double> values = landau_sample(800, 7, 1);
  const LandauGaussianFit before = fit_landau_gaussian(values);
  values.insert(values.end(), {1e6, 1e300});
  const LandauGaussianFit after = fit_landau_gaussian(values, {.high = 1e308});
  ASSERT_TRUE(after.usable()) << words_of(after.outcome);
  // A Landau tail reaches far: two of 800 values there are no more than a few standard errors' pull.
  EXPECT_NEAR(after.most_probable.value, before.most_probable.value, 3 * before.most_probable.uncertainty);
}

}  // namespace
}  // namespace firstedge
