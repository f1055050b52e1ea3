// Orthogonal columns: a few long columns made orthogonal one after the other, for least squares without
// normal equations.
#pragma once

#include <cstddef>
#include <span>
#include <utility>
#include <vector>

namespace firstedge {

/// Modified Gram-Schmidt: columns = Q R, Q of length 1 each and orthogonal, R upper triangular. With the data
/// taken along as a last column, the solution R^-1 (Q' data) is as exact as that of Householder's reflections
/// (A. Bjorck, BIT 7 (1967) 1; from memory). Work: rows * columns^2.
class OrthogonalColumns {
 public:
  /// Columns whose angle to those before them has a smaller sine cannot be told from them.
  static constexpr double parallel = 1e-6;

  /// data: shape (rows,).
  explicit OrthogonalColumns(std::vector<double> data) : rest_(std::move(data)) {}

  /// Adds a column of shape (rows,) behind the others; false if it cannot be told from them: then it is not
  /// added.
  bool add(std::vector<double> column);

  std::size_t count() const { return columns_.size(); }
  /// Of Q.
  std::span<const double> column(std::size_t index) const { return columns_[index]; }
  /// Of R.
  double upper(std::size_t row, std::size_t column) const { return upper_[column][row]; }
  /// What the columns leave of the data, and its squared length.
  std::span<const double> rest() const { return rest_; }
  double rest2() const;

  /// The share of each column in the data, shape (count(),).
  std::vector<double> solution() const;

 private:
  std::vector<std::vector<double>> columns_;  // Q
  std::vector<std::vector<double>> upper_;    // upper_[j][i]: R of row i, column j, shape (j + 1,)
  std::vector<double> with_data_, rest_;
};

}  // namespace firstedge
