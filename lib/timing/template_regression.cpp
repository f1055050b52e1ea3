#include "firstedge/timing/template_regression.hpp"

#include "firstedge/core/stamp.hpp"
#include "firstedge/core/vector_clones.hpp"
#include "firstedge/signal/lane_sums.hpp"

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

// data[i * stride + k] += weights[k] * values[i].
FIRSTEDGE_VECTOR_CLONES void add_weighted(std::span<const double> values, const Band& weights,
                                          std::size_t stride, double* data) {
  for (const double value : values) {
    for (std::size_t k = 0; k < band; ++k) data[k] += weights[k] * value;
    data += stride;
  }
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
  const bool stand_alike =
      step >= 1 && std::abs(points_per_sample - step) <= whole * step && std::abs(position) < 1e15;
  if (!stand_alike || !all_finite(volts)) {
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
  const auto some = volts.subspan(static_cast<std::size_t>(before), static_cast<std::size_t>(end - before));
  add_alike(some, height_v, cubic_basis(position - cell), static_cast<std::size_t>(cell + before * step),
            static_cast<std::size_t>(step));
}

// Samples that all stand at one place between the points, from that cell on.
void TemplateRegression::add_alike(std::span<const double> volts, double height_v, const Band& basis,
                                   std::size_t cell, std::size_t stride) {
  Band weights = basis;
  for (double& weight : weights) weight *= height_v;
  add_weighted(volts, weights, stride, sums_.with_data.data() + cell);
  AlikePulses& pulses = alike(stride);
  const std::size_t end = cell + volts.size() * stride;
  for (std::size_t i = 0; i < band; ++i) {
    for (std::size_t j = i; j < band; ++j) {
      const double product = weights[i] * weights[j];
      pulses.change[cell + i][j - i] += product;
      pulses.change[end + i][j - i] -= product;
    }
    ++pulses.begun[cell + i];
    --pulses.begun[end + i];
  }
  sums_.data2 += sum_of_products(volts, volts);
  sums_.heights2 += height_v * height_v * static_cast<double>(volts.size());
  sums_.samples += volts.size();
}

TemplateRegression::AlikePulses& TemplateRegression::alike(std::size_t stride) {
  for (AlikePulses& pulses : alike_)
    if (pulses.stride == stride) return pulses;
  const std::size_t rows = points_ + 2 + stride;  // a pulse may end behind the last
  return alike_.emplace_back(AlikePulses{
      .stride = stride, .change = SplineSums::Rows(rows), .begun = std::vector<std::int32_t>(rows)});
}

// With the products of pulses that stand alike: at each row those of the pulses begun and not ended before.
SplineSums TemplateRegression::all_sums() const {
  SplineSums sums = sums_;
  for (const AlikePulses& pulses : alike_) {
    SplineSums::Rows open(pulses.stride);
    std::vector<std::int32_t> pulses_open(pulses.stride);
    for (std::size_t row = 0; row < sums.products.size(); ++row) {
      const std::size_t place = row % pulses.stride;
      pulses_open[place] += pulses.begun[row];
      for (std::size_t k = 0; k < band; ++k) open[place][k] += pulses.change[row][k];
      if (pulses_open[place] == 0) open[place] = {};  // of none is left what rounding leaves
      for (std::size_t k = 0; k < band; ++k) sums.products[row][k] += open[place][k];
    }
  }
  return sums;
}

TemplateRegression::Solution TemplateRegression::solved() const {
  const SplineSums sums = all_sums();
  const double mean_weight = sums.heights2 / static_cast<double>(points_);
  std::vector<double> penalties(penalties_tried);
  for (int i = 0; i < penalties_tried; ++i)
    penalties[i] = mean_weight * least_penalty * std::pow(10.0, 0.5 * i);
  const std::vector<double> criteria = cross_validation(sums, penalties);
  const auto best = std::min_element(criteria.begin(), criteria.end());
  const double best_penalty = std::isfinite(*best) ? penalties[best - criteria.begin()] : 0;
  const double cut = 2 * std::numbers::pi * highest_hz_ * interval_s_;
  const double least = mean_weight / std::pow(cut, 6);
  const SmoothedSpline smooth = smoothed(sums, std::max(best_penalty / less_smoothing, least));
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
