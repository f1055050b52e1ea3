#include "firstedge/timing/noise_whitening.hpp"

#include "firstedge/signal/lane_sums.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

// Leftover partial correlations of a given model whose squares sum to less than this are not followed.
constexpr double negligible_correlation = 1e-8;

// The prediction errors of growing order: coefficients[m] predicts from m samples, the nearest first.
struct Predictions {
  std::vector<std::vector<double>> coefficients;
  std::vector<double> variance;
  std::vector<double> partial_correlation;
};

Predictions durbin(const NoiseModel& noise, std::size_t longest_order) {
  Predictions found{{{}}, {noise.covariance_v2(0)}, {0.0}};
  for (std::size_t m = 1; m <= longest_order; ++m) {
    const std::vector<double>& before = found.coefficients.back();
    double partial = noise.covariance_v2(m);
    for (std::size_t k = 1; k < m; ++k) partial -= before[k - 1] * noise.covariance_v2(m - k);
    partial /= found.variance.back();
    const double variance = found.variance.back() * (1 - partial * partial);
    if (!(variance >= NoiseWhitening::least_variance * found.variance.front())) break;  // also for NaN
    std::vector<double> now(m);
    for (std::size_t k = 1; k < m; ++k) now[k - 1] = before[k - 1] - partial * before[m - k - 1];
    now[m - 1] = partial;
    found.coefficients.push_back(std::move(now));
    found.variance.push_back(variance);
    found.partial_correlation.push_back(partial);
  }
  return found;
}

// The order that is kept, see the class comment.
std::size_t order_worth_keeping(const Predictions& found, std::size_t samples_used) {
  std::size_t order = found.variance.size() - 1;
  if (samples_used == 0) {
    double left_over = 0;
    while (order > 0) {
      left_over += found.partial_correlation[order] * found.partial_correlation[order];
      if (left_over >= negligible_correlation) break;
      --order;
    }
    return order;
  }
  std::size_t best = 0;
  const auto criterion = [&](std::size_t m) {
    return static_cast<double>(samples_used) * std::log(found.variance[m]) + 2.0 * static_cast<double>(m);
  };
  for (std::size_t m = 1; m <= order; ++m)
    if (criterion(m) < criterion(best)) best = m;
  return best;
}

}  // namespace

NoiseWhitening::NoiseWhitening(const NoiseModel& noise, std::size_t longest_run) {
  const double variance = noise.covariance_v2(0);
  known_ = std::isfinite(variance) && variance > 0;
  if (!known_) {
    rows_ = {{1.0}};
    return;
  }
  const Predictions found = durbin(noise, std::min(longest_order, std::max<std::size_t>(longest_run, 1) - 1));
  const std::size_t order = order_worth_keeping(found, noise.samples_used);
  for (std::size_t m = 0; m <= order; ++m) {
    const double scale = 1 / std::sqrt(found.variance[m]);
    std::vector<double> row(m + 1);
    for (std::size_t k = 1; k <= m; ++k) row[m - k] = -scale * found.coefficients[m][k - 1];
    row[m] = scale;
    rows_.push_back(std::move(row));
  }
  for (std::size_t first = 0; first < order; first += lanes) {
    std::vector<double>& together = first_rows_.emplace_back((first + lanes) * lanes);
    for (std::size_t m = first; m < std::min(first + lanes, order); ++m)
      for (std::size_t k = 0; k <= m; ++k) together[k * lanes + m - first] = rows_[m][k];
  }
}

std::vector<double> NoiseWhitening::whitened(std::span<const double> values) const {
  std::vector<double> result(values.size());
  const std::size_t first = std::min(order(), values.size());
  for (std::size_t row = 0; row < first; row += lanes) {
    const std::size_t reach = std::min(row + lanes, values.size());
    const auto some =
        products_with_eight(std::span(first_rows_[row / lanes]).first(reach * lanes), values.first(reach));
    std::copy_n(some.begin(), std::min(lanes, first - row),
                result.begin() + static_cast<std::ptrdiff_t>(row));
  }
  if (values.size() > order()) correlate(values, rows_.back(), std::span(result).subspan(order()));
  return result;
}

std::vector<double> NoiseWhitening::whitened_amid_zeros(std::span<const double> values) const {
  std::vector<double> among(values.size() + 2 * order());
  std::copy(values.begin(), values.end(), among.begin() + static_cast<std::ptrdiff_t>(order()));
  std::vector<double> result(values.size() + order());
  if (!result.empty()) correlate(among, rows_.back(), result);
  return result;
}

std::vector<double> NoiseWhitening::unit_column(std::size_t sample, std::size_t samples) const {
  std::vector<double> column(std::min(order() + 1, samples - sample));
  for (std::size_t k = 0; k < column.size(); ++k) {
    const std::vector<double>& row = rows_[std::min(sample + k, order())];
    column[k] = row[row.size() - 1 - k];
  }
  return column;
}

std::vector<double> NoiseWhitening::sample_weights(std::span<const double> white_weights) const {
  std::vector<double> result(white_weights.size());
  for (std::size_t n = 0; n < white_weights.size(); ++n) {
    const std::vector<double>& row = rows_[std::min(n, order())];
    for (std::size_t k = 0; k < row.size(); ++k) result[n + 1 - row.size() + k] += row[k] * white_weights[n];
  }
  return result;
}

}  // namespace firstedge
