// The course of a level: what is told of simulated steps, warm-ups, drifts and wanders whose truth is known.
#include "firstedge/stats/course.hpp"

#include "support/random.hpp"
#include "support/sentence_of.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;
using Shape = std::function<double(std::size_t)>;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
const Shape flat = [](std::size_t) { return 0.0; };

// Noise of deviation 1 and a wander, on a shape.
std::vector<double> simulated(std::size_t points, double wander, const Shape& shape, test::Random& random) {
  std::vector<double> values;
  double level = 0;
  for (std::size_t t = 0; t < points; ++t) {
    if (wander > 0) level += random.normal(0, wander);
    values.push_back(level + random.normal(0, 1) + shape(t));
  }
  return values;
}

Shape step(std::size_t at, double size) {
  return [=](std::size_t t) { return t >= at ? size : 0; };
}

// Mean over each interval of size * exp(-t/tau).
Shape warm_up(std::size_t start, double size, double tau) {
  return [=](std::size_t t) {
    if (t < start) return 0.0;
    const auto from = static_cast<double>(t - start);
    return size * tau * (std::exp(-from / tau) - std::exp(-(from + 1) / tau));
  };
}

Shape sum(const Shape& a, const Shape& b) {
  return [=](std::size_t t) { return a(t) + b(t); };
}

bool is_empty(const Course& course) {
  return course.steps.empty() && course.warm_ups.empty() && !course.drift;
}

bool within_one(const Estimate& found, double truth) {
  return std::abs(found.value - truth) <= found.uncertainty;
}

int false_alarms(double wander, int runs, std::uint64_t seed) {
  test::Random random(seed);
  int alarms = 0;
  for (int run = 0; run < runs; ++run)
    alarms += is_empty(find_course(simulated(64, wander, flat, random))) ? 0 : 1;
  return alarms;
}

TEST(course, white_noise_makes_few_false_alarms) {
  // The header's 0.2 % of 600 is 1.2; seven or more come in fewer than 1 of 1,000 sets of runs.
  EXPECT_LT(false_alarms(0, 600, 21), 7);
}

TEST(course, a_wander_is_no_step) {
  int alarms = 0;
  for (const double wander : {0.1, 0.5, 1.0, 3.0}) alarms += false_alarms(wander, 150, 22);
  // The header's 1.5 % of 600 is 9; 20 or more come in fewer than 1 of 1,000.
  EXPECT_LT(alarms, 20);
}

TEST(course, a_slow_curve_is_told_as_wander_and_not_as_steps) {
  test::Random random(23);
  const auto slow = [](std::size_t t) {
    return 5 * std::sin(2 * std::numbers::pi * static_cast<double>(t) / 128);
  };
  int steps = 0;
  for (int run = 0; run < 20; ++run) {
    const Course course = find_course(simulated(128, 0, slow, random));
    steps += course.steps.empty() ? 0 : 1;
    EXPECT_LT(course.wander_probability, 0.01);
  }
  EXPECT_LE(steps, 1);
}

struct Tally {
  int runs = 0, found = 0, size_within = 0, place_within = 0, alone = 0;
};

Tally told_of_step(std::size_t points, std::size_t at, double size, double wander, int runs) {
  test::Random random(31);
  Tally tally{.runs = runs};
  for (int run = 0; run < runs; ++run) {
    const Course course = find_course(simulated(points, wander, step(at, size), random));
    if (course.steps.empty()) continue;
    const CourseStep& found = course.steps.front();
    ++tally.found;
    tally.alone += course.steps.size() == 1 && course.warm_ups.empty() && !course.drift ? 1 : 0;
    tally.size_within += within_one(found.size, size) ? 1 : 0;
    tally.place_within += found.low <= at && at <= found.high ? 1 : 0;
    EXPECT_LE(found.low, found.at);
    EXPECT_GE(found.high, found.at);
    EXPECT_LT(found.probability, 0.01);
  }
  return tally;
}

TEST(course, a_clear_step_is_found_with_its_size_and_place) {
  // 16 standard errors: 2 sigma in the middle of 256.
  const Tally faint = told_of_step(256, 128, 2, 0, 60);
  EXPECT_GE(faint.found, 50);  // 96 % is 57.6 with a binomial deviation of 1.5; five of them less
  const Tally clear = told_of_step(128, 32, 5, 0, 150);
  EXPECT_EQ(clear.found, 150);
  EXPECT_GE(clear.alone, 144);  // a share of 0.5 % beside a step; 6 come in fewer than 1 of 1,000
  // The header's 68 % to 85 %; 3.3 binomial deviations of 5.7 and 4.4.
  EXPECT_GE(clear.size_within, 102 - 19);
  EXPECT_LE(clear.size_within, 127 + 15);
  EXPECT_GE(clear.place_within, 102 - 19);
}

TEST(course, a_step_in_a_wander_is_found_when_it_stands_out) {
  const Tally tally = told_of_step(128, 32, 8, 0.5, 60);
  EXPECT_GE(tally.found, 52);        // 97 % by simulation
  EXPECT_GE(tally.size_within, 29);  // 60 % of those found is 33, deviation 3.7; the header's worst is 50 %
}

TEST(course, what_is_too_faint_for_a_step_is_told_as_wander) {
  test::Random random(33);
  int told = 0;
  constexpr int runs = 60;
  for (int run = 0; run < runs; ++run) {
    const Course course = find_course(simulated(128, 0, step(64, 7 / std::sqrt(32.0)), random));
    told += !course.steps.empty() || course.wander_probability < 0.01 ? 1 : 0;
  }
  EXPECT_GE(told, 54);  // 98 % and more by simulation
}

TEST(course, two_opposite_steps_that_hide_each_other_are_found_together) {
  test::Random random(34);
  int found = 0;
  for (int run = 0; run < 40; ++run) {
    const Course course = find_course(simulated(128, 0, sum(step(45, 4), step(80, -4)), random));
    if (course.steps.size() != 2) continue;
    ++found;
    EXPECT_GT(course.steps[0].size.value, 0);
    EXPECT_LT(course.steps[1].size.value, 0);
  }
  EXPECT_GE(found, 36);  // all by simulation
}

TEST(course, a_warm_up_is_found_with_its_size_and_time_constant) {
  test::Random random(41);
  constexpr int runs = 150;
  int found = 0;
  int size_within = 0;
  int time_within = 0;
  for (int run = 0; run < runs; ++run) {
    const Course course = find_course(simulated(128, 0, warm_up(0, 10, 12.8), random));
    if (course.warm_ups.size() != 1) continue;
    ++found;
    const CourseWarmUp& told = course.warm_ups.front();
    EXPECT_EQ(told.start, 0U);
    size_within += within_one(told.size, 10) ? 1 : 0;
    time_within += within_one(told.time_constant, 12.8) ? 1 : 0;
  }
  EXPECT_GE(found, 143);  // 99 % by simulation
  // The header's 68 % to 85 % of 150; 3.3 binomial deviations.
  for (const int within : {size_within, time_within}) {
    EXPECT_GE(within, 102 - 19);
    EXPECT_LE(within, 127 + 15);
  }
}

TEST(course, a_warm_up_and_a_step_are_told_apart) {
  test::Random random(42);
  int right = 0;
  for (int run = 0; run < 20; ++run) {
    const Course course = find_course(simulated(256, 0, sum(warm_up(0, 10, 25), step(150, -4)), random));
    right += course.warm_ups.size() == 1 && course.steps.size() == 1 && !course.drift ? 1 : 0;
  }
  EXPECT_GE(right, 17);  // 99 % by simulation
}

TEST(course, a_warm_up_after_a_restart_begins_there) {
  test::Random random(43);
  std::vector<double> values = simulated(160, 0, warm_up(80, 12, 10), random);
  std::fill(values.begin() + 60, values.begin() + 80, nan);
  const Course course = find_course(values);
  ASSERT_EQ(course.warm_ups.size(), 1U);
  EXPECT_EQ(course.warm_ups.front().start, 80U);
  EXPECT_EQ(course.points, 140U);
}

TEST(course, a_drift_is_told_with_its_slope) {
  test::Random random(44);
  int within = 0;
  for (int run = 0; run < 60; ++run) {
    const auto slope = [](std::size_t t) { return 0.15 * static_cast<double>(t); };
    const Course course = find_course(simulated(128, 0, slope, random));
    ASSERT_TRUE(course.drift.has_value());
    EXPECT_TRUE(course.steps.empty());
    within += within_one(course.drift->slope, 0.15) ? 1 : 0;
  }
  EXPECT_GE(within, 41 - 12);  // 68 % or more
}

TEST(course, a_step_inside_a_gap_is_found_at_its_end) {
  test::Random random(45);
  std::vector<double> values = simulated(128, 0, step(60, 6), random);
  std::fill(values.begin() + 56, values.begin() + 66, nan);
  const Course course = find_course(values);
  ASSERT_EQ(course.steps.size(), 1U);
  EXPECT_EQ(course.steps.front().at, 66U);
}

TEST(course, values_known_badly_do_not_make_a_step) {
  test::Random random(46);
  std::vector<double> values = simulated(128, 0, flat, random);
  std::vector<double> variances(128, 1.0);
  for (std::size_t t = 40; t < 44; ++t) {
    values[t] = 8 + t % 2;
    variances[t] = 100;
  }
  EXPECT_TRUE(is_empty(find_course(values, variances)));
  EXPECT_FALSE(is_empty(find_course(values)));
}

// Properties: an offset changes nothing but the level, a factor scales, a turned series has its steps turned.
TEST(course, offset_factor_and_sign_do_what_they_must) {
  test::Random random(47);
  const std::vector<double> values = simulated(100, 0, step(40, 6), random);
  const Course before = find_course(values);
  ASSERT_EQ(before.steps.size(), 1U);
  std::vector<double> changed;
  for (const double value : values) changed.push_back(-2e-12 * value + 5e-9);
  const Course after = find_course(changed);
  ASSERT_EQ(after.steps.size(), 1U);
  EXPECT_EQ(after.steps[0].at, before.steps[0].at);
  // The offset is 2,500 times the noise and takes its digits, squared in the sums.
  EXPECT_NEAR(after.steps[0].size.value, -2e-12 * before.steps[0].size.value, 1e-18);
  EXPECT_NEAR(after.steps[0].size.uncertainty, 2e-12 * before.steps[0].size.uncertainty, 1e-18);
  EXPECT_NEAR(after.noise, 2e-12 * before.noise, 1e-18);
  ASSERT_EQ(after.level.size(), 100U);
  EXPECT_NEAR(after.level[70], -2e-12 * before.level[70] + 5e-9, 1e-17);
}

TEST(course, too_little_gives_no_items) {
  test::Random random(48);
  EXPECT_TRUE(is_empty(find_course({})));
  EXPECT_TRUE(is_empty(find_course(std::vector<double>(50, nan))));
  EXPECT_TRUE(is_empty(find_course(std::vector<double>(50, 3.0))));
  EXPECT_TRUE(is_empty(find_course(simulated(15, 0, step(7, 100), random))));
  EXPECT_EQ(find_course(simulated(16, 0, step(8, 100), random)).steps.size(), 1U);
}

TEST(course, more_steps_than_allowed_are_told) {
  test::Random random(49);
  const auto stairs = [](std::size_t t) { return t / 20 % 2 == 0 ? 0.0 : 20.0; };
  const std::vector<double> values = simulated(200, 0, stairs, random);
  EXPECT_EQ(find_course(values).steps.size(), 9U);
  const Course few = find_course(values, {}, {.most_items = 4});
  EXPECT_LE(few.steps.size(), 4U);
  EXPECT_TRUE(few.more_items);
}

TEST(course, senseless_input_is_refused_in_one_sentence) {
  const std::vector<double> values(20, 1.0);
  const std::vector<double> variances(19, 1.0);
  EXPECT_THAT(test::sentence_of([&] { find_course(values, variances); }), HasSubstr("20 values and 19"));
  EXPECT_THAT(test::sentence_of([&] { find_course(values, {}, {.false_alarm = 0}); }),
              HasSubstr("false alarms"));
}

}  // namespace
}  // namespace firstedge
