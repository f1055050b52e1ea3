// The step of counts that were written out as numbers.
#include "firstedge/signal/sample_step.hpp"

#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// Counts of normal noise (3 counts) around a level, and one pulse, in volts as printed to four decimals.
std::vector<double> printed_volts(double step_v) {
  std::mt19937 random(20261128);
  std::normal_distribution<double> noise(0, 3);
  std::vector<double> volts(1000);
  for (std::size_t i = 0; i < volts.size(); ++i) {
    const double pulse = i < 400 ? 0 : 60 * std::exp(-(static_cast<double>(i) - 400) / 30);
    volts[i] = std::round(step_v * std::round(noise(random) + pulse) * 1e4) / 1e4;
  }
  return volts;
}

TEST(sample_step, is_that_of_the_counts_to_the_printing) {
  // Printing to 0.1 mV moves each gap by up to 0.1 mV, their mean over some 50 gaps by less than a tenth of
  // that.
  for (const double step_v : {0.4e-3, 1e-3, 1.5e-3, 2e-3})
    EXPECT_NEAR(step_between_values(printed_volts(step_v)), step_v, 0.03e-3) << step_v;
}

TEST(sample_step, does_not_hang_on_order_repeats_signs_of_zero_or_what_is_no_number) {
  std::vector<double> volts = printed_volts(1e-3);
  const double step = step_between_values(volts);
  std::vector<double> turned(volts.rbegin(), volts.rend());
  EXPECT_EQ(step_between_values(turned), step);
  std::vector<double> more = volts;
  more.insert(more.end(), volts.begin(), volts.end());
  for (const double odd : {-0.0, 0.0, std::numeric_limits<double>::quiet_NaN(),
                           std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity()})
    more.push_back(odd);
  EXPECT_EQ(step_between_values(more), step);
}

TEST(sample_step, values_that_never_were_counts_have_none) {
  std::mt19937 random(20261128);
  std::normal_distribution<double> noise(0, 3e-3);
  std::vector<double> volts(1000);
  for (double& value : volts) value = noise(random);
  EXPECT_EQ(step_between_values(volts), 0);
  EXPECT_EQ(step_between_values(std::vector<double>(1000, 0.25)), 0);
  EXPECT_EQ(step_between_values(std::vector<double>(31, 0.25)), 0);
  EXPECT_EQ(step_between_values(std::vector<double>(40, std::numeric_limits<double>::quiet_NaN())), 0);
}

}  // namespace
}  // namespace firstedge
