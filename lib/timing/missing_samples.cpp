#include "firstedge/timing/missing_samples.hpp"

#include "firstedge/signal/lane_sums.hpp"

#include <algorithm>
#include <cmath>
#include <span>

namespace firstedge {
namespace {

constexpr double most_work = 2e7;

// The rows that hang on a sample left out: its own and the `order` rows after it.
std::vector<bool> rows_reached(const std::vector<bool>& left_out, std::size_t order) {
  std::vector<bool> rows(left_out.size());
  std::size_t still = 0;  // rows that the last sample left out spoils yet
  for (std::size_t n = 0; n < rows.size(); ++n) {
    if (left_out[n]) still = order + 1;
    rows[n] = still > 0;
    if (still > 0) --still;
  }
  return rows;
}

}  // namespace

MissingSamples::MissingSamples(const std::vector<bool>& left_out, const NoiseWhitening& whitening) {
  const auto count = static_cast<std::size_t>(std::count(left_out.begin(), left_out.end(), true));
  if (count == 0) return;
  const auto reach = static_cast<double>(whitening.order() + 1);
  if (whitening.order() == 0 || static_cast<double>(count) * reach * reach > most_work) {
    rows_out_ = rows_reached(left_out, whitening.order());
    missing_ = static_cast<std::size_t>(std::count(rows_out_.begin(), rows_out_.end(), true));
    return;
  }
  missing_ = count;
  remember_columns(left_out, whitening);
}

// The factor L of the columns' products, L L' = E'E: as far as two columns meet, so that it is banded.
void MissingSamples::remember_columns(const std::vector<bool>& left_out, const NoiseWhitening& whitening) {
  for (std::size_t n = 0; n < left_out.size(); ++n) {
    if (!left_out[n]) continue;
    samples_.push_back(n);
    columns_.push_back(whitening.unit_column(n, left_out.size()));
  }
  for (std::size_t i = 0; i < samples_.size(); ++i) {
    std::size_t reach = 0;
    while (reach < i && samples_[i] - samples_[i - reach - 1] < columns_[i - reach - 1].size()) ++reach;
    std::vector<double>& row = factor_.emplace_back(reach + 1);
    for (std::size_t k = reach; k > 0; --k) {
      const std::vector<double>& other = factor_[i - k];
      double sum = product(i - k, i);
      for (std::size_t m = 1; m < other.size() && m + k <= reach; ++m) sum -= row[m + k] * other[m];
      row[k] = sum / other[0];
    }
    double sum = product(i, i);
    for (std::size_t m = 1; m <= reach; ++m) sum -= row[m] * row[m];
    row[0] = std::sqrt(sum);
  }
}

// Of the columns of two samples left out, the earlier one first.
double MissingSamples::product(std::size_t earlier, std::size_t later) const {
  const std::size_t apart = samples_[later] - samples_[earlier];
  const std::size_t shared = std::min(columns_[earlier].size() - apart, columns_[later].size());
  return sum_of_products(std::span(columns_[earlier]).subspan(apart, shared),
                         std::span(columns_[later]).first(shared));
}

std::vector<double> MissingSamples::taken_out(std::vector<double> white) const {
  for (std::size_t n = 0; n < rows_out_.size(); ++n)
    if (rows_out_[n]) white[n] = 0;
  const std::size_t count = samples_.size();
  std::vector<double> share(count);  // of each column, by the normal equations
  const auto rows_of = [&](std::size_t i) {
    return std::span(white).subspan(samples_[i], columns_[i].size());
  };
  for (std::size_t i = 0; i < count; ++i) {
    share[i] = sum_of_products(columns_[i], rows_of(i));
    for (std::size_t k = 1; k < factor_[i].size(); ++k) share[i] -= factor_[i][k] * share[i - k];
    share[i] /= factor_[i][0];
  }
  for (std::size_t i = count; i-- > 0;) {
    share[i] /= factor_[i][0];
    for (std::size_t k = 1; k < factor_[i].size(); ++k) share[i - k] -= factor_[i][k] * share[i];
  }
  for (std::size_t i = 0; i < count; ++i) {
    const std::span<double> rows = rows_of(i);
    for (std::size_t n = 0; n < rows.size(); ++n) rows[n] -= share[i] * columns_[i][n];
  }
  return white;
}

}  // namespace firstedge
