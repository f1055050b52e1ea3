#include "firstedge/timing/template_regression.hpp"

#include "firstedge/core/stamp.hpp"
#include "firstedge/core/vector_clones.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace firstedge {
namespace {

constexpr std::size_t band = SplineSums::band;
using Band = std::array<double, band>;

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

// Where samples stand that stand alike: the first one's cell, the cells from one to the next, and the basis
// functions at each.
struct AlikeSamples {
  std::size_t cell, stride;
  Band basis;
};

// Adds the finite ones of a pulse's samples, all within the grid.
FIRSTEDGE_VECTOR_CLONES void add_samples(SplineSums& sums, std::span<const double> volts, double height_v,
                                         const AlikeSamples& where) {
  Band weights = where.basis;
  for (double& weight : weights) weight *= height_v;
  std::array<double, band * band> products{};  // [i * band + k]: of basis functions i and i + k
  for (std::size_t i = 0; i < band; ++i)
    for (std::size_t j = i; j < band; ++j) products[i * band + (j - i)] = weights[i] * weights[j];
  double* const with_data = sums.with_data.data();
  double* const all_rows = sums.products.front().data();  // rows follow one another
  double data2 = sums.data2, heights2 = sums.heights2;
  std::size_t cell = where.cell, used = 0;
  for (const double value : volts) {
    if (std::isfinite(value)) {
      double* data = with_data + cell;
      double* rows = all_rows + cell * band;
      for (std::size_t i = 0; i < band; ++i) data[i] += weights[i] * value;
      for (std::size_t k = 0; k < products.size(); ++k) rows[k] += products[k];
      data2 += value * value;
      heights2 += height_v * height_v;
      ++used;
    }
    cell += where.stride;
  }
  sums.data2 = data2;
  sums.heights2 = heights2;
  sums.samples += used;
}

}  // namespace

TemplateRegression::TemplateRegression(double first_s, double interval_s, std::size_t points,
                                       double highest_hz)
    : first_s_(first_s),
      interval_s_(interval_s),
      highest_hz_(highest_hz),
      points_(points),
      sums_{.products = SplineSums::Rows(points + 2), .with_data = std::vector<double>(points + 2)} {}

void TemplateRegression::add(double t_s, double height_v, double volts) {
  const double position = (t_s - first_s_) / interval_s_;
  if (!(position >= 0 && position < static_cast<double>(points_ - 1))) return;
  const auto cell = static_cast<std::size_t>(position);
  const std::array<double, band> basis = cubic_basis(position - static_cast<double>(cell));
  for (std::size_t i = 0; i < band; ++i) {
    const double weighted = height_v * basis[i];
    sums_.with_data[cell + i] += weighted * volts;
    for (std::size_t j = i; j < band; ++j) sums_.products[cell + i][j - i] += weighted * height_v * basis[j];
  }
  sums_.data2 += volts * volts;
  sums_.heights2 += height_v * height_v;
  ++sums_.samples;
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
  const double cell = std::floor(position), last_cell = static_cast<double>(points_) - 2;
  const double before = std::max(std::ceil(-cell / step), 0.0);  // samples in front of the grid
  const double within = std::floor((last_cell - cell) / step) + 1;
  const double end = std::min(within, static_cast<double>(volts.size()));
  if (!(before < end)) return;
  const auto first = static_cast<std::size_t>(before);
  add_samples(sums_, volts.subspan(first, static_cast<std::size_t>(end) - first), height_v,
              {.cell = static_cast<std::size_t>(cell + before * step),
               .stride = static_cast<std::size_t>(step),
               .basis = cubic_basis(position - cell)});
}

TemplateRegression::Solution TemplateRegression::solved() const {
  const double mean_weight = sums_.heights2 / static_cast<double>(points_);
  std::vector<double> penalties(penalties_tried);
  for (int i = 0; i < penalties_tried; ++i)
    penalties[i] = mean_weight * least_penalty * std::pow(10.0, 0.5 * i);
  const std::vector<double> criteria = cross_validation(sums_, penalties);
  const auto best = std::min_element(criteria.begin(), criteria.end());
  const double best_penalty = std::isfinite(*best) ? penalties[best - criteria.begin()] : 0;
  const double cut = 2 * std::numbers::pi * highest_hz_ * interval_s_;
  const double least = mean_weight / std::pow(cut, 6);
  const SmoothedSpline smooth = smoothed(sums_, std::max(best_penalty / less_smoothing, least));
  Solution solution{std::vector<double>(points_, not_known), std::vector<double>(points_, not_known)};
  if (!smooth.is_fixed) return solution;
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
