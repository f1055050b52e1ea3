// Claims of the matching and of the offset: who belongs together, what is told of the doubtful, what moves
// the mean and what does not.
#include "firstedge/agree/matching.hpp"

#include "firstedge/agree/offset.hpp"
#include "firstedge/core/error.hpp"

#include "two_stations.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::list_at;

TEST(matching, partners_are_found_and_the_others_counted) {
  const InstantList first = list_at("first", {1, 2, 3, 4, 5}, 1e-11);
  // In another order; 2 has none, 3 two, and 7.5 belongs to nobody.
  const InstantList second =
      list_at("second", {7.5, 5 + 1e-6, 3 + 1e-6, 4 + 1e-6, 1 + 1e-6, 3 + 1e-6 + 2e-11}, 1e-11);
  const Matching matching = match_instants(first, second, 1e-6);
  ASSERT_EQ(matching.pairs.size(), 3U);
  EXPECT_EQ(matching.pairs[0].first, 0U);
  EXPECT_EQ(matching.pairs[0].second, 4U);
  EXPECT_EQ(matching.pairs[1].second, 3U);
  EXPECT_EQ(matching.pairs[2].second, 1U);
  EXPECT_EQ(matching.unmatched_first, 1U);
  EXPECT_EQ(matching.unmatched_second, 1U);
  EXPECT_EQ(matching.doubly_first, 1U);
  EXPECT_EQ(matching.doubly_second, 2U);
  // An instant holds 1 fs: two roundings and that of the expected difference.
  for (const Match& one : matching.pairs) EXPECT_NEAR(one.difference_s, 0, 1.5e-15);
}

TEST(matching, an_offset_that_nobody_expected_is_found_within_the_window) {
  // 300 passages in some 75 s, 237 ns off, scatter 3 times what is stated.
  test::Random other(20261202);
  Way way = test::passages(other, 300, 1374e-9, -237e-9, 150e-12);
  for (double& one : way.first.uncertainty_s) one /= 3;
  for (double& one : way.second.uncertainty_s) one /= 3;
  const Matching matching = match_instants(way.first, way.second, 1374e-9);
  EXPECT_GE(matching.pairs.size(), 298U);          // six robust deviations: one in 5e8 lies beyond
  EXPECT_NEAR(matching.centre_s, -237e-9, 1e-10);  // median of 300: 1.25 * 212 ps/sqrt(300) = 15 ps, 6 times
  EXPECT_LT(matching.rival_share, 0.1);
  EXPECT_TRUE(match_instants(way.first, way.second, 1374e-9, {.window_s = 100e-9}).pairs.empty());
}

TEST(matching, regular_bunches_are_told_to_be_ambiguous) {
  std::vector<double> first, second;
  for (int i = 0; i < 200; ++i) {
    first.push_back(i * 25e-9);
    second.push_back(i * 25e-9 + 1e-9);
  }
  const auto match = [&](double window_s) {
    return match_instants(list_at("a", first, 1e-11), list_at("b", second, 1e-11), 0, {.window_s = window_s});
  };
  EXPECT_GT(match(100e-9).rival_share, 0.9) << "one bunch further fits as well";
  const Matching narrow = match(12e-9);
  EXPECT_EQ(narrow.rival_share, 0);
  EXPECT_EQ(narrow.pairs.size(), 200U);
  EXPECT_NEAR(narrow.centre_s, 1e-9, 1e-14);
}

TEST(matching, without_stated_uncertainties_the_pairs_are_found_too) {
  test::Random random(20261203);
  Way way = test::passages(random, 200, 1e-6, 3e-9, 100e-12);
  way.first.uncertainty_s.assign(200, std::numeric_limits<double>::quiet_NaN());
  way.second.uncertainty_s.clear();
  const Matching matching = match_instants(way.first, way.second, 1e-6);
  EXPECT_EQ(matching.pairs.size(), 200U);
}

TEST(matching, what_cannot_be_matched_is_refused) {
  const InstantList one = list_at("one", {1}, 1e-11);
  InstantList utc = one;
  utc.instants[0].scale = TimeScale::utc;
  EXPECT_THROW(match_instants(one, utc, 0), Error);
  EXPECT_THROW(match_instants(one, list_at("none", {}, 0), 0), Error);
  EXPECT_THROW(match_instants(one, one, 0, {.window_s = 0}), Error);
  const InstantList many = list_at("many", std::vector<double>(2300, 1.0), 1e-11);
  EXPECT_THROW(match_instants(many, many, 0), Error) << "5.3 million pairs";
}

TEST(offset, a_tenth_of_wild_differences_does_not_move_it) {
  test::Random random(20261204);
  std::vector<double> differences;
  for (int i = 0; i < 1000; ++i)
    differences.push_back(i % 10 == 0 ? random.uniform(20e-9, 90e-9) : random.normal(1e-9, 50e-12));
  const Offset offset = robust_offset(differences);
  EXPECT_EQ(offset.used, 900U);
  EXPECT_EQ(offset.outliers, 100U);
  // 3.3 standard errors of 50 ps/sqrt(900): a false alarm in 1 of 1000.
  EXPECT_NEAR(offset.mean_s.value, 1e-9, 3.3 * 50e-12 / 30);
  EXPECT_NEAR(offset.mean_s.uncertainty, 50e-12 / 30, 3.3 * 50e-12 / 30 / std::sqrt(1800.0));
  EXPECT_FALSE(offset.wanders);
  EXPECT_THROW(robust_offset(std::vector<double>{1e-9}), Error);
}

TEST(offset, that_does_not_hold_still_is_less_known_and_told) {
  test::Random random(20261205);
  std::vector<double> differences, time_s, steady;
  for (int i = 0; i < 640; ++i) {
    steady.push_back(random.normal(0, 50e-12));
    differences.push_back(steady.back() + (i < 320 ? 0 : 100e-12));
    time_s.push_back(i);
  }
  const Offset moved = robust_offset(differences), still = robust_offset(steady);
  EXPECT_TRUE(moved.wanders);
  EXPECT_FALSE(still.wanders);
  // Sixteen stretches, half of them 100 ps higher: 50 ps/sqrt(15) = 12.9 ps, beside 2 ps of noise.
  EXPECT_NEAR(moved.mean_s.uncertainty, 12.9e-12, 2e-12);
  EXPECT_EQ(moved.mean_s.degrees_of_freedom, 15);
  const OffsetCourse course = course_of(time_s, differences);
  ASSERT_EQ(course.course.steps.size(), 1U);
  EXPECT_NEAR(static_cast<double>(course.course.steps[0].at) * course.block_s, 320, 2 * course.block_s);
  // 3.3 standard errors of the difference of two means of 320: 13 ps.
  EXPECT_NEAR(course.course.steps[0].size.value, 100e-12, 13.1e-12);
  EXPECT_LT(course.drift_probability, 1e-3);
  EXPECT_GT(course_of(time_s, steady).drift_probability, 1e-3);
}

TEST(offset, what_it_goes_with_is_found_by_ranks) {
  test::Random random(20261206);
  std::vector<double> height, other, differences;
  for (int i = 0; i < 300; ++i) {
    height.push_back(random.uniform(0.1, 1));
    other.push_back(random.uniform(0, 1));
    differences.push_back(random.normal(0, 50e-12) + 200e-12 * height.back());
  }
  const Dependence with = dependence_on("height", "V", height, differences);
  EXPECT_LT(with.probability, 1e-6);
  // Slope: 50 ps/(0.26 sqrt(300)) = 11 ps/V, 3.3 times.
  EXPECT_NEAR(with.slope.value, 200e-12, 37e-12);
  EXPECT_GT(dependence_on("other", "", other, differences).probability, 1e-3);
  // Closed forms: a monotone curve has the rank correlation 1, a constant none.
  std::vector<double> cubes;
  for (const double one : height) cubes.push_back(one * one * one);
  EXPECT_NEAR(dependence_on("cube", "", height, cubes).rank_correlation, 1, 1e-12);
  const Dependence constant = dependence_on("c", "", std::vector<double>(300, 1.0), differences);
  EXPECT_TRUE(std::isnan(constant.rank_correlation));
  EXPECT_EQ(constant.probability, 1);
  // Ranks with ties, by hand: x 1 1 2 3, y 1 2 3 4: ranks 0.5 0.5 2 3 and 0 1 2 3,
  // correlation 4.5/sqrt(4.5*5).
  EXPECT_NEAR(dependence_on("t", "", std::vector<double>{1, 1, 2, 3}, std::vector<double>{1, 2, 3, 4})
                  .rank_correlation,
              4.5 / std::sqrt(4.5 * 5), 1e-14);
}

}  // namespace
}  // namespace firstedge
