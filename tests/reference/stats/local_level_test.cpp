// The local level filter against generalised least squares with the whole covariance matrix in NumPy.
#include "firstedge/stats/local_level.hpp"

#include "reference/signal/scipy.hpp"
#include "support/random.hpp"

#include <cmath>
#include <limits>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

double product(const std::vector<double>& a, const std::vector<double>& b) {
  return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
}

// With D the differences of neighbours that are there and V the covariance, a'D'(DVD')^-1 D b is the product
// of whitened columns, and det DVD' that of the innovations' variances (G. E. P. Box, G. M. Jenkins, Time
// Series Analysis, ch. 7: the exact likelihood; from memory).
TEST(local_level_reference, whitened_products_and_determinant_are_those_of_the_covariance_matrix) {
  constexpr std::size_t points = 12;
  constexpr double ratio = 0.7;
  test::Random random(5);
  std::vector<double> values;
  std::vector<double> variances;
  for (std::size_t t = 0; t < points; ++t) {
    values.push_back(random.normal(0, 1));
    variances.push_back(random.uniform(0.5, 2));
  }
  for (const std::size_t gap : {4, 5, 9}) variances[gap] = std::numeric_limits<double>::quiet_NaN();
  std::vector<double> both = values;
  both.insert(both.end(), variances.begin(), variances.end());
  const std::vector<double> theirs = test::from_scipy(
      "n = 12\n"
      "value, variance = x[:n], x[n:]\n"
      "there = np.flatnonzero(np.isfinite(variance))\n"
      "V = np.diag(variance[there]) + 0.49 * np.minimum.outer(there, there)\n"
      "D = np.diff(np.eye(len(there)), axis=0)\n"
      "inverse = D.T @ np.linalg.inv(D @ V @ D.T) @ D\n"
      "show(value[there] @ inverse @ value[there])\n"
      "show(np.log(np.linalg.det(D @ V @ D.T)))\n"
      "for k in range(n):\n"
      "    step = (there >= k).astype(float)\n"
      "    show(step @ inverse @ value[there]); show(step @ inverse @ step)\n",
      both);
  ASSERT_EQ(theirs.size(), 2 + 2 * points);
  const LocalLevel noise(variances, ratio);
  const std::vector<double> whitened = noise.whitened(values);
  const std::vector<double> products = noise.products_with_steps(whitened);
  const std::vector<double> norms = noise.norms_of_steps();
  // Rounding of a 9 x 9 inverse with a condition number below 100.
  constexpr double rounding = 1e-12;
  EXPECT_NEAR(product(whitened, whitened), theirs[0], rounding);
  EXPECT_NEAR(noise.log_determinant(), theirs[1], rounding);
  for (std::size_t k = 0; k < points; ++k) {
    EXPECT_NEAR(products[k], theirs[2 + 2 * k], rounding) << k;
    EXPECT_NEAR(norms[k], theirs[3 + 2 * k], rounding) << k;
    std::vector<double> step(points, 0.0);
    for (std::size_t t = k; t < points; ++t) step[t] = 1;
    EXPECT_NEAR(product(noise.whitened(step), whitened), products[k], rounding) << k;
  }
}

TEST(local_level_reference, a_constant_is_whitened_to_nothing) {
  const std::vector<double> constant(20, 3.5);
  const std::vector<double> even(20, 1.0);
  for (const double ratio : {0.0, 0.3, 10.0}) {
    for (const double value : LocalLevel(even, ratio).whitened(constant)) EXPECT_EQ(value, 0);
  }
}

}  // namespace
}  // namespace firstedge
