// Least squares and chi-square against the published straight line of the GUM and tables.
#include "firstedge/stats/least_squares.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// JCGM 100:2008, H.3: b(t) = y1 + y2 (t - 20), eleven readings of equal uncertainty. Inputs read in a public
// transcription of the annex; outputs y1 = -0.1712, y2 = 0.00218, s 0.0029 and 0.00067, r = -0.930 from
// memory, further digits recomputed.
TEST(least_squares_reference, the_straight_line_of_the_gum) {
  const std::vector<double> t{21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                              24.513, 25.002, 25.503, 26.010, 26.511};
  const std::vector<double> b{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                              -0.156, -0.157, -0.159, -0.161, -0.160};
  std::vector<double> design;
  for (const double at : t) design.insert(design.end(), {1.0, at - 20});
  std::vector<double> covariance(t.size() * t.size(), 0.0);
  for (std::size_t i = 0; i < t.size(); ++i) covariance[i * t.size() + i] = 1;
  const LinearFit fit = least_squares(design, b, covariance);
  EXPECT_NEAR(fit.parameters[0], -0.17120379, 0.5e-8);
  EXPECT_NEAR(fit.parameters[1], 0.00218270, 0.5e-8);
  // The readings' own scatter stands for their uncertainty: s = 0.00349756 with 9 degrees of freedom.
  EXPECT_EQ(fit.degrees_of_freedom, 9);
  const double s = std::sqrt(fit.chi_square / 9);
  EXPECT_NEAR(s, 0.00349756, 0.5e-8);
  EXPECT_NEAR(s * fit.parameter(0).uncertainty, 0.00287760, 0.5e-8);
  EXPECT_NEAR(s * fit.parameter(1).uncertainty, 0.00066794, 0.5e-8);
  EXPECT_NEAR(fit.covariance[1] / std::sqrt(fit.covariance[0] * fit.covariance[3]), -0.930430, 0.5e-6);
}

// Correlated values (derived): two readings of one quantity, variances 1 and 4, covariance 1: the second adds
// nothing, since it is the first plus independent noise.
TEST(least_squares_reference, a_reading_that_only_adds_noise_to_another_gets_no_weight) {
  const LinearFit fit =
      least_squares(std::vector<double>{1, 1}, std::vector<double>{5, 9}, std::vector<double>{1, 1, 1, 4});
  EXPECT_NEAR(fit.parameters[0], 5, 1e-13);
  EXPECT_NEAR(fit.parameter(0).uncertainty, 1, 1e-13);
  EXPECT_NEAR(fit.chi_square, 16.0 / 3, 1e-12);
}

// NIST/SEMATECH e-Handbook, table 1.3.6.7.4: upper critical values, 3 decimals (from memory).
TEST(least_squares_reference, critical_values_of_chi_square) {
  // Half of the last digit times the density there, below 0.1.
  EXPECT_NEAR(chi_square_probability(3.841, 1), 0.05, 1e-4);
  EXPECT_NEAR(chi_square_probability(18.307, 10), 0.05, 1e-4);
  EXPECT_NEAR(chi_square_probability(23.209, 10), 0.01, 1e-4);
  EXPECT_EQ(chi_square_probability(5, 0), 1);
}

}  // namespace
}  // namespace firstedge
