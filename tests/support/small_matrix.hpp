// Small dense symmetric matrices for tests: the slow, plain way to a covariance or a bound.
#pragma once

#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

namespace firstedge::test {

using Matrix = std::vector<std::vector<double>>;

/// The inverse by Gauss-Jordan elimination with pivots. Square, not singular.
inline Matrix inverse(Matrix a) {
  const std::size_t n = a.size();
  Matrix result(n, std::vector<double>(n));
  for (std::size_t i = 0; i < n; ++i) result[i][i] = 1;
  for (std::size_t column = 0; column < n; ++column) {
    std::size_t pivot = column;
    for (std::size_t row = column; row < n; ++row)
      if (std::abs(a[row][column]) > std::abs(a[pivot][column])) pivot = row;
    std::swap(a[pivot], a[column]);
    std::swap(result[pivot], result[column]);
    const double scale = 1 / a[column][column];
    for (std::size_t j = 0; j < n; ++j) {
      a[column][j] *= scale;
      result[column][j] *= scale;
    }
    for (std::size_t row = 0; row < n; ++row) {
      const double factor = a[row][column];
      if (row == column || factor == 0) continue;
      for (std::size_t j = 0; j < n; ++j) {
        a[row][j] -= factor * a[column][j];
        result[row][j] -= factor * result[column][j];
      }
    }
  }
  return result;
}

/// Standard deviations that nothing unbiased goes below for parameters with these derivatives (one column a
/// parameter, shape (parameters, samples)) in white noise: the Cramer-Rao bound, S. Kay, Estimation Theory
/// (1993), 3.7. Columns are brought to length 1 first, so that units do not matter.
inline std::vector<double> bounds_in_white_noise(const Matrix& columns, double noise_v) {
  const std::size_t n = columns.size();
  std::vector<double> lengths(n);
  for (std::size_t i = 0; i < n; ++i) {
    for (const double value : columns[i]) lengths[i] += value * value;
    lengths[i] = std::sqrt(lengths[i]);
  }
  Matrix products(n, std::vector<double>(n));
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = 0; j < n; ++j)
      for (std::size_t k = 0; k < columns[i].size(); ++k)
        products[i][j] += columns[i][k] * columns[j][k] / (lengths[i] * lengths[j]);
  const Matrix covariance = inverse(products);
  std::vector<double> bounds(n);
  for (std::size_t i = 0; i < n; ++i) bounds[i] = noise_v * std::sqrt(covariance[i][i]) / lengths[i];
  return bounds;
}

}  // namespace firstedge::test
