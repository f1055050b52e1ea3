#include "firstedge/stats/course_model.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numeric>

#include <Eigen/Dense>

namespace firstedge {
namespace {

// Columns that keep less than this of their square beside the others tell nothing of their own.
constexpr double collinear = 1e-9;

double product(std::span<const double> a, std::span<const double> b) {
  return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
}

// Takes from a whitened column what lies along an orthonormal basis.
void project_out(std::vector<double>& column, const std::vector<std::vector<double>>& basis) {
  for (const std::vector<double>& direction : basis) {
    const double along = product(column, direction);
    for (std::size_t t = 0; t < column.size(); ++t) column[t] -= along * direction[t];
  }
}

// Ratios of the wander's step to the noise: none, then from what no series shows to almost all wander.
std::vector<double> ratio_grid(std::size_t points) {
  constexpr double spacing = 1.6;  // the likelihood changes by less than 0.1 between neighbours
  constexpr double greatest = 30;
  std::vector<double> ratios{0};
  for (double ratio = 0.3 / static_cast<double>(points); ratio < greatest; ratio *= spacing)
    ratios.push_back(ratio);
  return ratios;
}

double mean_decay(double from, double time_constant) {
  return time_constant * std::exp(-from / time_constant) * -std::expm1(-1 / time_constant);
}

}  // namespace

std::vector<double> column_of(const CourseItem& item, std::size_t points) {
  std::vector<double> column(points, 0.0);
  const double middle = 0.5 * static_cast<double>(points - 1);
  for (std::size_t t = 0; t < points; ++t) {
    if (item.kind == CourseItem::Kind::drift) column[t] = static_cast<double>(t) - middle;
    if (item.kind == CourseItem::Kind::step) column[t] = t >= item.at ? 1 : 0;
    if (item.kind == CourseItem::Kind::warm_up && t >= item.at)
      column[t] = mean_decay(static_cast<double>(t - item.at), item.time_constant);
  }
  return column;
}

std::vector<double> time_constant_column_of(const CourseItem& item, std::size_t points) {
  // Central difference; the error of h^2/6 of the third derivative is below 1e-8 of the column.
  constexpr double h = 1e-4;
  CourseItem longer = item;
  CourseItem shorter = item;
  longer.time_constant *= std::exp(h);
  shorter.time_constant *= std::exp(-h);
  std::vector<double> column = column_of(longer, points);
  const std::vector<double> below = column_of(shorter, points);
  for (std::size_t t = 0; t < points; ++t) column[t] = (column[t] - below[t]) / (2 * h);
  return column;
}

CourseModel::CourseModel(std::span<const double> values, std::span<const double> relative_variance)
    : values_(values.begin(), values.end()),
      relative_variance_(relative_variance.begin(), relative_variance.end()),
      ratios_(ratio_grid(values.size())) {
  assert(values.size() == relative_variance.size());
  std::size_t present = 0;
  for (std::size_t t = 0; t < values_.size(); ++t) {
    if (!std::isfinite(values_[t]) || !(relative_variance_[t] > 0))
      relative_variance_[t] = std::numeric_limits<double>::quiet_NaN();
    present += std::isfinite(relative_variance_[t]) ? 1 : 0;
  }
  freedom_ = static_cast<double>(present) - 1;
  for (const double ratio : ratios_) noises_.emplace_back(relative_variance_, ratio);
  const std::vector<double> plain = noises_.front().whitened(values_);
  floor_ = 1e-24 * product(plain, plain) + std::numeric_limits<double>::min();
}

double CourseModel::log_likelihood(double squares, std::size_t ratio) const {
  return -0.5 *
         (freedom_ * std::log(std::max(squares, floor_) / freedom_) + noises_[ratio].log_determinant());
}

CourseModel::Fit CourseModel::fit(const std::vector<CourseItem>& items) const {
  std::vector<std::vector<double>> columns;
  for (const CourseItem& item : items) columns.push_back(column_of(item, points()));
  Fit fit;
  fit.log_likelihood = -std::numeric_limits<double>::infinity();
  for (std::size_t r = 0; r < ratios_.size(); ++r) {
    Fit::AtRatio at;
    double log_norms = 0;
    for (const std::vector<double>& column : columns) {
      std::vector<double> direction = noises_[r].whitened(column);
      const double whole = product(direction, direction);
      project_out(direction, at.basis);
      const double left = product(direction, direction);
      if (!(left > collinear * whole)) continue;
      for (double& value : direction) value /= std::sqrt(left);
      log_norms += std::log(left);
      at.basis.push_back(std::move(direction));
    }
    at.residual = noises_[r].whitened(values_);
    project_out(at.residual, at.basis);
    at.squares = product(at.residual, at.residual);
    const double left_over = freedom_ - static_cast<double>(at.basis.size());
    at.restricted = -0.5 * (left_over * std::log(std::max(at.squares, floor_)) +
                            noises_[r].log_determinant() + log_norms);
    fit.log_likelihood = std::max(fit.log_likelihood, log_likelihood(at.squares, r));
    fit.at_ratio.push_back(std::move(at));
  }
  return fit;
}

std::vector<double> CourseModel::with_step(const Fit& fit) const {
  std::vector<double> best(points(), -std::numeric_limits<double>::infinity());
  for (std::size_t r = 0; r < ratios_.size(); ++r) {
    const Fit::AtRatio& at = fit.at_ratio[r];
    const std::vector<double> along = noises_[r].products_with_steps(at.residual);
    const std::vector<double> whole = noises_[r].norms_of_steps();
    std::vector<double> left = whole;
    for (const std::vector<double>& direction : at.basis) {
      const std::vector<double> shared = noises_[r].products_with_steps(direction);
      for (std::size_t k = 0; k < points(); ++k) left[k] -= shared[k] * shared[k];
    }
    for (std::size_t k = 0; k < points(); ++k) {
      if (!(left[k] > collinear * whole[k])) continue;
      best[k] = std::max(best[k], log_likelihood(at.squares - along[k] * along[k] / left[k], r));
    }
  }
  return best;
}

double CourseModel::with_column(const Fit& fit, std::span<const double> column) const {
  double best = -std::numeric_limits<double>::infinity();
  for (std::size_t r = 0; r < ratios_.size(); ++r) {
    const Fit::AtRatio& at = fit.at_ratio[r];
    std::vector<double> direction = noises_[r].whitened(column);
    const double whole = product(direction, direction);
    project_out(direction, at.basis);
    const double left = product(direction, direction);
    if (!(left > collinear * whole)) continue;
    const double along = product(direction, at.residual);
    best = std::max(best, log_likelihood(at.squares - along * along / left, r));
  }
  return best;
}

double CourseModel::without_wander(const Fit& fit) const {
  return log_likelihood(fit.at_ratio.front().squares, 0);
}

// Least squares of the columns at one ratio.
CourseModel::Sizes CourseModel::sizes_at(std::size_t ratio,
                                         const std::vector<std::vector<double>>& columns) const {
  const auto rows = static_cast<Eigen::Index>(points());
  Eigen::MatrixXd design(rows, static_cast<Eigen::Index>(columns.size()));
  for (std::size_t c = 0; c < columns.size(); ++c) {
    const std::vector<double> whitened = noises_[ratio].whitened(columns[c]);
    design.col(static_cast<Eigen::Index>(c)) = Eigen::Map<const Eigen::VectorXd>(whitened.data(), rows);
  }
  const std::vector<double> whitened = noises_[ratio].whitened(values_);
  Eigen::VectorXd left = Eigen::Map<const Eigen::VectorXd>(whitened.data(), rows);
  Sizes found;
  found.degrees_of_freedom = freedom_ - static_cast<double>(columns.size());
  if (!columns.empty()) {
    const Eigen::VectorXd solved = Eigen::ColPivHouseholderQR<Eigen::MatrixXd>(design).solve(left);
    left -= design * solved;
    found.size.assign(solved.data(), solved.data() + solved.size());
  }
  const double variance = left.squaredNorm() / found.degrees_of_freedom;
  found.noise = std::sqrt(variance);
  found.wander = ratios_[ratio] * found.noise;
  if (columns.empty()) return found;
  const Eigen::VectorXd variances = variance * (design.transpose() * design).inverse().diagonal();
  found.variance.assign(variances.data(), variances.data() + variances.size());
  return found;
}

CourseModel::Sizes CourseModel::sizes(const Fit& fit, const std::vector<std::vector<double>>& columns) const {
  double highest = -std::numeric_limits<double>::infinity();
  for (const Fit::AtRatio& at : fit.at_ratio) highest = std::max(highest, at.restricted);
  constexpr double negligible = 12;  // e^-12 of the likelihood
  Sizes mean;
  std::vector<double> squares(columns.size(), 0.0);
  double whole = 0;
  for (std::size_t r = 0; r < ratios_.size(); ++r) {
    if (fit.at_ratio[r].restricted < highest - negligible) continue;
    const double weight = std::exp(fit.at_ratio[r].restricted - highest);
    const Sizes at = sizes_at(r, columns);
    mean.size.resize(columns.size(), 0.0);
    for (std::size_t c = 0; c < columns.size(); ++c) {
      mean.size[c] += weight * at.size[c];
      squares[c] += weight * (at.variance[c] + at.size[c] * at.size[c]);
    }
    mean.noise += weight * at.noise;
    mean.wander += weight * at.wander;
    mean.degrees_of_freedom = at.degrees_of_freedom;
    whole += weight;
  }
  mean.noise /= whole;
  mean.wander /= whole;
  for (std::size_t c = 0; c < columns.size(); ++c) {
    mean.size[c] /= whole;
    mean.variance.push_back(std::max(0.0, squares[c] / whole - mean.size[c] * mean.size[c]));
  }
  return mean;
}

}  // namespace firstedge
