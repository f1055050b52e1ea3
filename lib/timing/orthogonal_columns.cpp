#include "firstedge/timing/orthogonal_columns.hpp"

#include "firstedge/core/vector_clones.hpp"
#include "firstedge/signal/lane_sums.hpp"

#include <cmath>
#include <utility>

namespace firstedge {
namespace {

// to -= share * column
FIRSTEDGE_VECTOR_CLONES void take_share_away(std::span<double> to, double share,
                                             std::span<const double> column) {
  double* __restrict left = to.data();
  const double* from = column.data();
  const std::size_t size = to.size();
  for (std::size_t i = 0; i < size; ++i) left[i] -= share * from[i];
}

FIRSTEDGE_VECTOR_CLONES void multiply(std::span<double> values, double factor) {
  double* at = values.data();
  const std::size_t size = values.size();
  for (std::size_t i = 0; i < size; ++i) at[i] *= factor;
}

}  // namespace

bool OrthogonalColumns::add(std::vector<double> column) {
  const double length2 = sum_of_products(column, column);
  std::vector<double> upper(count() + 1);
  for (std::size_t i = 0; i < count(); ++i) {
    upper[i] = sum_of_products(columns_[i], column);
    take_share_away(column, upper[i], columns_[i]);
  }
  upper.back() = std::sqrt(sum_of_products(column, column));
  if (!(upper.back() > parallel * std::sqrt(length2))) return false;  // or NaN
  multiply(column, 1 / upper.back());
  with_data_.push_back(sum_of_products(column, rest_));
  take_share_away(rest_, with_data_.back(), column);
  columns_.push_back(std::move(column));
  upper_.push_back(std::move(upper));
  return true;
}

double OrthogonalColumns::rest2() const {
  return sum_of_products(rest_, rest_);
}

std::vector<double> OrthogonalColumns::solution() const {
  std::vector<double> solved = with_data_;
  for (std::size_t i = count(); i-- > 0;) {
    for (std::size_t j = i + 1; j < count(); ++j) solved[i] -= upper(i, j) * solved[j];
    solved[i] /= upper(i, i);
  }
  return solved;
}

}  // namespace firstedge
