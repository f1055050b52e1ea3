// The smoothing spline against the plain way: the penalised products as a dense matrix, inverted.
#include "firstedge/timing/smoothing_spline.hpp"

#include "support/small_matrix.hpp"

#include <cmath>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr std::size_t size = 30, band = SplineSums::band;

// Sums over samples at random places of a grid, of a cubic B-spline's four pieces (P. Eilers and B. Marx,
// Statist. Sci. 11 (1996) 89).
SplineSums some_sums() {
  SplineSums sums{.products = SplineSums::Rows(size), .with_data = std::vector<double>(size)};
  std::mt19937 random(20261128);
  std::uniform_real_distribution<double> place(0, size - 3);
  std::normal_distribution<double> noise(0, 0.1);
  for (sums.samples = 0; sums.samples < 500; ++sums.samples) {
    const double position = place(random), volts = std::sin(position / 4) + noise(random);
    const auto cell = static_cast<std::size_t>(position);
    const double t = position - static_cast<double>(cell), s = 1 - t;
    const std::vector<double> basis{s * s * s / 6, (3 * t * t * t - 6 * t * t + 4) / 6,
                                    (3 * s * s * s - 6 * s * s + 4) / 6, t * t * t / 6};
    for (std::size_t i = 0; i < band; ++i) {
      sums.with_data[cell + i] += basis[i] * volts;
      for (std::size_t j = i; j < band; ++j) sums.products[cell + i][j - i] += basis[i] * basis[j];
    }
    sums.data2 += volts * volts;
  }
  return sums;
}

test::Matrix dense(const SplineSums& sums) {
  test::Matrix all(size, std::vector<double>(size));
  for (std::size_t i = 0; i < size; ++i)
    for (std::size_t k = 0; k < band && i + k < size; ++k)
      all[i][i + k] = all[i + k][i] = sums.products[i][k];
  return all;
}

TEST(smoothing_spline, is_that_of_the_dense_equations) {
  const SplineSums sums = some_sums();
  const test::Matrix products = dense(sums);
  for (const double penalty : {1e-3, 1.0, 300.0}) {
    test::Matrix penalised = products;
    const std::vector<double> difference{1, -3, 3, -1};
    for (std::size_t first = 0; first + band <= size; ++first)
      for (std::size_t i = 0; i < band; ++i)
        for (std::size_t j = 0; j < band; ++j)
          penalised[first + i][first + j] += penalty * difference[i] * difference[j];
    const test::Matrix inverse = test::inverse(penalised);
    std::vector<double> coefficients(size);
    double freedom = static_cast<double>(sums.samples), residual2 = sums.data2;
    for (std::size_t i = 0; i < size; ++i)
      for (std::size_t j = 0; j < size; ++j) {
        coefficients[i] += inverse[i][j] * sums.with_data[j];
        freedom -= inverse[i][j] * products[j][i];
      }
    for (std::size_t i = 0; i < size; ++i) {
      residual2 -= 2 * coefficients[i] * sums.with_data[i];
      for (std::size_t j = 0; j < size; ++j) residual2 += coefficients[i] * products[i][j] * coefficients[j];
    }
    const SmoothedSpline spline = smoothed(sums, penalty);
    ASSERT_TRUE(spline.is_fixed);
    // Rounding, amplified by the condition of the equations, below 1e6.
    for (std::size_t i = 0; i < size; ++i) {
      EXPECT_NEAR(spline.coefficients[i], coefficients[i], 1e-9) << penalty << ", " << i;
      for (std::size_t k = 0; k < band && i + k < size; ++k)
        EXPECT_NEAR(spline.inverse[i][k], inverse[i][i + k], 1e-9);
    }
    EXPECT_NEAR(spline.variance, residual2 / freedom, 1e-9 * spline.variance);
    EXPECT_NEAR(cross_validation(sums, std::vector{penalty})[0], residual2 / (freedom * freedom),
                1e-9 * residual2 / (freedom * freedom));
  }
}

TEST(smoothing_spline, a_penalty_has_the_bits_that_it_has_in_other_company) {
  const SplineSums sums = some_sums();
  std::vector<double> penalties;
  for (int i = 0; i < 19; ++i) penalties.push_back(std::pow(10.0, 0.5 * i - 4));  // two eights and a part
  const std::vector<double> together = cross_validation(sums, penalties);
  for (std::size_t i = 0; i < penalties.size(); ++i)
    EXPECT_EQ(together[i], cross_validation(sums, std::vector{penalties[i]})[0]) << i;
}

TEST(smoothing_spline, samples_that_fix_no_spline_are_told) {
  SplineSums sums{.products = SplineSums::Rows(size), .with_data = std::vector<double>(size)};
  EXPECT_FALSE(smoothed(sums, 1).is_fixed);  // none at all
  EXPECT_TRUE(std::isinf(cross_validation(sums, std::vector{1.0})[0]));
}

}  // namespace
}  // namespace firstedge
