#include "firstedge/timing/template_regression.hpp"

#include "firstedge/core/stamp.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <utility>

namespace firstedge {
namespace {

constexpr std::size_t band = 4;  // of a cubic spline's products, and of third differences
using Rows = std::vector<std::array<double, band>>;

// The penalty weights tried, relative to the mean of the data's weights, a factor of 10^(1/2) apart.
constexpr int penalties_tried = 33;
constexpr double least_penalty = 1e-4;
// See the class comment.
constexpr double less_smoothing = 3;

std::array<double, band> cubic_basis(double t) {
  const double s = 1 - t;
  return {s * s * s / 6, (3 * t * t * t - 6 * t * t + 4) / 6, (3 * s * s * s - 6 * s * s + 4) / 6,
          t * t * t / 6};
}

// Adds weight * D'D of third differences (1, -3, 3, -1).
void add_third_differences(Rows& rows, double weight) {
  constexpr std::array<double, band> difference{1, -3, 3, -1};
  for (std::size_t first = 0; first + band <= rows.size(); ++first)
    for (std::size_t i = 0; i < band; ++i)
      for (std::size_t j = i; j < band; ++j) rows[first + i][j - i] += weight * difference[i] * difference[j];
}

// L D L' of a symmetric band matrix (rows[i][k] = element i, i + k): rows[i][0] becomes D, the rest L'. False
// if it is not positive definite.
bool factorise(Rows& rows) {
  for (std::size_t i = 0; i < rows.size(); ++i) {
    if (!(rows[i][0] > 0)) return false;
    const std::size_t reach = std::min(band, rows.size() - i);
    std::array<double, band> scaled{};
    for (std::size_t k = 1; k < reach; ++k) scaled[k] = rows[i][k] / rows[i][0];
    for (std::size_t k = 1; k < reach; ++k)
      for (std::size_t m = k; m < reach; ++m) rows[i + k][m - k] -= scaled[k] * rows[i][m];
    for (std::size_t k = 1; k < reach; ++k) rows[i][k] = scaled[k];
  }
  return true;
}

std::vector<double> back_substituted(const Rows& factors, std::vector<double> values) {
  const std::size_t size = values.size();
  for (std::size_t i = 0; i < size; ++i)
    for (std::size_t k = 1; k < std::min(band, size - i); ++k) values[i + k] -= factors[i][k] * values[i];
  for (std::size_t i = size; i-- > 0;) {
    values[i] /= factors[i][0];
    for (std::size_t k = 1; k < std::min(band, size - i); ++k) values[i] -= factors[i][k] * values[i + k];
  }
  return values;
}

// The elements of the inverse within the band (K. Takahashi's recursion; M. Hutchinson and F. de Hoog, Numer.
// Math. 47 (1985) 99 use it for this purpose; from memory).
Rows inverse_in_band(const Rows& factors) {
  const std::size_t size = factors.size();
  Rows inverse(size);
  const auto element = [&](std::size_t a, std::size_t b) {
    return inverse[std::min(a, b)][std::max(a, b) - std::min(a, b)];
  };
  for (std::size_t i = size; i-- > 0;) {
    const std::size_t reach = std::min(band, size - i);
    for (std::size_t k = reach; k-- > 0;) {
      double sum = k == 0 ? 1 / factors[i][0] : 0;
      for (std::size_t m = 1; m < reach; ++m) sum -= factors[i][m] * element(i + m, i + k);
      inverse[i][k] = sum;
    }
  }
  return inverse;
}

// x' A x, A symmetric in band form.
double quadratic_form(const Rows& rows, const std::vector<double>& x) {
  double sum = 0;
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t k = 0; k < std::min(band, x.size() - i); ++k)
      sum += (k == 0 ? 1 : 2) * rows[i][k] * x[i] * x[i + k];
  return sum;
}

}  // namespace

struct TemplateRegression::Smooth {
  std::vector<double> coefficients;
  Rows inverse;
  double variance = not_known;                                 // of a sample around the shape
  double criterion = std::numeric_limits<double>::infinity();  // generalised cross-validation
};

TemplateRegression::TemplateRegression(double first_s, double interval_s, std::size_t points,
                                       double highest_hz)
    : first_s_(first_s),
      interval_s_(interval_s),
      highest_hz_(highest_hz),
      points_(points),
      products_(points + 2),
      with_data_(points + 2) {}

void TemplateRegression::add(double t_s, double height_v, double volts) {
  const double position = (t_s - first_s_) / interval_s_;
  if (!(position >= 0 && position < static_cast<double>(points_ - 1))) return;
  const auto cell = static_cast<std::size_t>(position);
  const std::array<double, band> basis = cubic_basis(position - static_cast<double>(cell));
  for (std::size_t i = 0; i < band; ++i) {
    const double weighted = height_v * basis[i];
    with_data_[cell + i] += weighted * volts;
    for (std::size_t j = i; j < band; ++j) products_[cell + i][j - i] += weighted * height_v * basis[j];
  }
  data2_ += volts * volts;
  weights_ += height_v * height_v;
  ++samples_;
}

void TemplateRegression::add_pulse(double first_t_s, double sample_interval_s, double height_v,
                                   std::span<const double> volts) {
  constexpr double whole = 1e-9;  // so near, and the last of a million samples still stands as the first does
  const double points_per_sample = sample_interval_s / interval_s_;
  const double step = std::round(points_per_sample);
  const double position = (first_t_s - first_s_) / interval_s_;
  if (!(step >= 1 && std::abs(points_per_sample - step) <= whole * step && std::abs(position) < 1e15)) {
    for (std::size_t i = 0; i < volts.size(); ++i) {
      if (std::isfinite(volts[i]))
        add(first_t_s + static_cast<double>(i) * sample_interval_s, height_v, volts[i]);
    }
    return;
  }
  Band weights = cubic_basis(position - std::floor(position));
  for (double& weight : weights) weight *= height_v;
  std::array<Band, band> products{};
  for (std::size_t i = 0; i < band; ++i)
    for (std::size_t j = i; j < band; ++j) products[i][j - i] = weights[i] * weights[j];
  const auto stride = static_cast<std::ptrdiff_t>(step);
  auto cell = static_cast<std::ptrdiff_t>(std::floor(position));
  for (const double value : volts) {
    const std::ptrdiff_t here = std::exchange(cell, cell + stride);
    const bool inside = here >= 0 && here < static_cast<std::ptrdiff_t>(points_) - 1;
    if (!inside || !std::isfinite(value)) continue;
    double* data = with_data_.data() + here;
    Band* rows = products_.data() + here;
    for (std::size_t i = 0; i < band; ++i) data[i] += weights[i] * value;
    for (std::size_t i = 0; i < band; ++i)
      for (std::size_t k = 0; k < band; ++k) rows[i][k] += products[i][k];
    data2_ += value * value;
    weights_ += height_v * height_v;
    ++samples_;
  }
}

TemplateRegression::Smooth TemplateRegression::smoothed(double penalty) const {
  Smooth found;
  Rows rows = products_;
  add_third_differences(rows, penalty);
  if (!factorise(rows)) return found;
  found.coefficients = back_substituted(rows, with_data_);
  found.inverse = inverse_in_band(rows);
  double fitted = 0;
  double freedom = static_cast<double>(samples_);
  for (std::size_t i = 0; i < with_data_.size(); ++i) {
    fitted += found.coefficients[i] * with_data_[i];
    for (std::size_t k = 0; k < std::min(band, with_data_.size() - i); ++k)
      freedom -= (k == 0 ? 1 : 2) * found.inverse[i][k] * products_[i][k];
  }
  const double residual2 = std::max(data2_ - 2 * fitted + quadratic_form(products_, found.coefficients), 0.0);
  if (!(freedom > 0)) return found;
  found.variance = residual2 / freedom;
  found.criterion = residual2 / (freedom * freedom);
  return found;
}

TemplateRegression::Solution TemplateRegression::solved() const {
  const double mean_weight = weights_ / static_cast<double>(points_);
  double best_penalty = 0;
  double best = std::numeric_limits<double>::infinity();
  for (int i = 0; i < penalties_tried; ++i) {
    const double penalty = mean_weight * least_penalty * std::pow(10.0, 0.5 * i);
    const double criterion = smoothed(penalty).criterion;
    if (criterion < best) {
      best = criterion;
      best_penalty = penalty;
    }
  }
  const double cut = 2 * std::numbers::pi * highest_hz_ * interval_s_;
  const double least = mean_weight / std::pow(cut, 6);
  const Smooth smooth = smoothed(std::max(best_penalty / less_smoothing, least));
  Solution solution{std::vector<double>(points_, not_known), std::vector<double>(points_, not_known)};
  if (!std::isfinite(smooth.criterion)) return solution;
  constexpr std::array<double, 3> at_point{1.0 / 6, 4.0 / 6, 1.0 / 6};
  for (std::size_t p = 0; p < points_; ++p) {
    double variance = 0;
    solution.value[p] = 0;
    for (std::size_t i = 0; i < 3; ++i) {
      solution.value[p] += at_point[i] * smooth.coefficients[p + i];
      for (std::size_t j = i; j < 3; ++j)
        variance += (i == j ? 1 : 2) * at_point[i] * at_point[j] * smooth.inverse[p + i][j - i];
    }
    solution.uncertainty[p] = std::sqrt(std::max(variance * smooth.variance, 0.0));
  }
  return solution;
}

}  // namespace firstedge
