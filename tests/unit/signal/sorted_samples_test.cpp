// Samples sorted by bins against samples sorted by comparing.
#include "firstedge/signal/sorted_samples.hpp"

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

void expect_sorted(std::vector<double> values) {
  std::vector<double> expected = values;
  std::sort(expected.begin(), expected.end());
  sort_samples(values);
  EXPECT_EQ(values, expected);
}

// Noise of this spread; whole numbers of a step if there is one.
std::vector<double> noise(std::size_t size, double spread, double step) {
  std::mt19937 random(20261128);
  std::normal_distribution<double> draw(0.3, spread);
  std::vector<double> volts(size);
  for (double& v : volts) {
    v = draw(random);
    if (step > 0) v = step * std::round(v / step);
  }
  return volts;
}

constexpr std::size_t sizes[] = {0, 1, 2, 3, 63, 64, 65, 300, 1024, 70000};

TEST(sorted_samples, noise_and_counts_of_any_number_are_sorted) {
  for (const std::size_t size : sizes) {
    expect_sorted(noise(size, 1e-3, 0));
    for (const double step : {1e-5, 1e-3, 1e-1}) expect_sorted(noise(size, 1e-3, step));
  }
}

TEST(sorted_samples, far_outliers_that_crowd_all_others_into_one_bin_do_no_harm) {
  for (const double far : {1.0, 1e6, 1e300}) {
    std::vector<double> values = noise(300, 1e-3, 0);
    values[17] = far;
    values[250] = -far;
    expect_sorted(values);
  }
}

TEST(sorted_samples, equal_values_and_ranges_too_small_to_divide_are_sorted) {
  expect_sorted(std::vector<double>(300, 0.5));
  std::vector<double> tiny(300, 0.0);
  for (std::size_t i = 0; i < tiny.size(); ++i) tiny[i] = static_cast<double>((i * 7919) % 300) * 5e-324;
  expect_sorted(tiny);
  std::vector<double> falling(1000);
  for (std::size_t i = 0; i < falling.size(); ++i) falling[i] = -static_cast<double>(i);
  expect_sorted(falling);
}

}  // namespace
}  // namespace firstedge
