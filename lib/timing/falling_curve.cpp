#include "firstedge/timing/falling_curve.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/stamp.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <utility>

#include <Eigen/Dense>

namespace firstedge {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr std::size_t stored_points = 97;
constexpr double biweight = 4.685;             // 95 % efficient for Gaussian scatter
constexpr double normal_quartile = 0.6744898;  // 75 % quantile of the normal distribution
constexpr int robust_rounds = 12;

// The values of the four cubic B-splines that are not 0 at a share t of an interval.
std::array<double, 4> cubic_basis(double t) {
  const double s = 1 - t;
  return {s * s * s / 6, (3 * t * t * t - 6 * t * t + 4) / 6, (3 * s * s * s - 6 * s * s + 4) / 6,
          t * t * t / 6};
}

struct Range {
  double first = 0, last = 0;
};

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Rows of B-spline values, a point each.
MatrixXd basis_at(const std::vector<double>& logs, const Range& range, int intervals) {
  MatrixXd basis = MatrixXd::Zero(static_cast<Index>(logs.size()), intervals + 3);
  for (std::size_t i = 0; i < logs.size(); ++i) {
    const double position =
        std::clamp((logs[i] - range.first) / (range.last - range.first), 0.0, 1.0) * intervals;
    const auto cell = std::min(static_cast<Index>(position), static_cast<Index>(intervals - 1));
    const std::array<double, 4> values = cubic_basis(position - static_cast<double>(cell));
    for (Index k = 0; k < 4; ++k)
      basis(static_cast<Index>(i), cell + k) = values[static_cast<std::size_t>(k)];
  }
  return basis;
}

// Squares of differences of the coefficients: second ones of all, first ones of those held together.
MatrixXd second_differences(Index size) {
  MatrixXd penalty = MatrixXd::Zero(size, size);
  const std::array<double, 3> difference{1, -2, 1};
  for (Index first = 0; first + 2 < size; ++first)
    for (Index i = 0; i < 3; ++i)
      for (Index j = 0; j < 3; ++j)
        penalty(first + i, first + j) +=
            difference[static_cast<std::size_t>(i)] * difference[static_cast<std::size_t>(j)];
  return penalty;
}
MatrixXd held_differences(const std::vector<bool>& held) {
  const auto size = static_cast<Index>(held.size()) + 1;
  MatrixXd penalty = MatrixXd::Zero(size, size);
  for (Index i = 0; i + 1 < size; ++i) {
    if (!held[static_cast<std::size_t>(i)]) continue;
    penalty(i, i) += 1;
    penalty(i + 1, i + 1) += 1;
    penalty(i, i + 1) -= 1;
    penalty(i + 1, i) -= 1;
  }
  return penalty;
}

struct Smooth {
  VectorXd coefficients;
  MatrixXd covariance;  // for points whose uncertainties hold
  double freedom = 0;   // what the points have left over
};

// The spline for given weights of the points, falling.
class FallingSpline {
 public:
  FallingSpline(MatrixXd basis, VectorXd values)
      : basis_(std::move(basis)), values_(std::move(values)), roughness_(second_differences(basis_.cols())) {}

  const MatrixXd& basis() const { return basis_; }
  VectorXd residuals(const VectorXd& coefficients) const { return values_ - basis_ * coefficients; }

  // The weight of the penalty that generalised cross-validation likes best.
  double best_penalty(const VectorXd& weights) const {
    constexpr int tried = 31;
    const MatrixXd products = basis_.transpose() * weights.asDiagonal() * basis_;
    const double scale = products.trace() / static_cast<double>(products.rows());
    double best = scale;
    double least = std::numeric_limits<double>::infinity();
    for (int i = 0; i < tried; ++i) {
      const double penalty = scale * 1e-8 * std::pow(10.0, i / 3.0);
      const Smooth smooth = solved(products, weights, penalty * roughness_);
      const double squares = (weights.array() * residuals(smooth.coefficients).array().square()).sum();
      const double criterion = squares / (smooth.freedom * smooth.freedom);
      if (criterion < least) {
        least = criterion;
        best = penalty;
      }
    }
    return best;
  }

  // Neighbours whose coefficients rise are held together, until none does.
  Smooth falling(const VectorXd& weights, double penalty) const {
    constexpr double stiff = 1e4;  // of what holds them, over the mean weight of the points
    const MatrixXd products = basis_.transpose() * weights.asDiagonal() * basis_;
    const double wall = stiff * products.trace() / static_cast<double>(products.rows());
    std::vector<bool> held(static_cast<std::size_t>(basis_.cols()) - 1);
    for (bool more = true;;) {
      Smooth smooth = solved(products, weights, penalty * roughness_ + wall * held_differences(held));
      more = false;
      for (std::size_t i = 0; i < held.size(); ++i) {
        const auto at = static_cast<Index>(i);
        if (held[i] || !(smooth.coefficients(at + 1) > smooth.coefficients(at))) continue;
        held[i] = more = true;
      }
      if (!more) return smooth;
    }
  }

 private:
  Smooth solved(const MatrixXd& products, const VectorXd& weights, const MatrixXd& penalty) const {
    // Coefficients that no point touches are tied to the others by the roughness; a trace of it is always
    // there.
    const Eigen::LDLT<MatrixXd> factors(products + penalty);
    Smooth smooth;
    smooth.coefficients = factors.solve(basis_.transpose() * (weights.asDiagonal() * values_));
    smooth.covariance = factors.solve(MatrixXd::Identity(products.rows(), products.cols()));
    smooth.freedom =
        static_cast<double>((weights.array() > 0).count()) - (smooth.covariance * products).trace();
    return smooth;
  }

  MatrixXd basis_;
  VectorXd values_;
  MatrixXd roughness_;
};

std::vector<CurvePoint> usable(std::span<const CurvePoint> points) {
  std::vector<CurvePoint> kept;
  for (const CurvePoint& one : points) {
    if (one.argument > 0 && std::isfinite(one.argument) && std::isfinite(one.value) && one.uncertainty > 0 &&
        std::isfinite(one.uncertainty))
      kept.push_back(one);
  }
  return kept;
}

// Of the residuals over their uncertainties, robustly.
double scatter_of(const VectorXd& residuals, const std::vector<CurvePoint>& points) {
  std::vector<double> pulls;
  for (std::size_t i = 0; i < points.size(); ++i)
    pulls.push_back(std::abs(residuals(static_cast<Index>(i))) / points[i].uncertainty);
  return median(std::move(pulls)) / normal_quartile;
}

// 1 over the variance, with the median one added so that a few sharp points do not take all the freedom of
// the curve; 0 for outliers.
VectorXd weights_of(const std::vector<CurvePoint>& points, const VectorXd& residuals, double scatter) {
  std::vector<double> uncertainties;
  for (const CurvePoint& one : points) uncertainties.push_back(one.uncertainty);
  const double common = median(std::move(uncertainties));
  VectorXd weights(static_cast<Index>(points.size()));
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double u = std::hypot(points[i].uncertainty, common);
    const double pull = residuals(static_cast<Index>(i)) / (biweight * std::max(scatter, 1.0) * u);
    const double kept = std::abs(pull) < 1 ? std::pow(1 - pull * pull, 2) : 0;
    weights(static_cast<Index>(i)) = kept / (u * u);
  }
  return weights;
}

}  // namespace

FallingCurve falling_curve(std::span<const CurvePoint> points, const FallingCurveOptions& options) {
  const std::string place = "falling curve";
  const std::vector<CurvePoint> kept = usable(points);
  if (kept.size() < std::max<std::size_t>(options.fewest_points, 8))
    throw Error(place, "only " + std::to_string(kept.size()) + " pulses can serve", "give more records");
  std::vector<double> logs;
  std::vector<double> values;
  for (const CurvePoint& one : kept) {
    logs.push_back(std::log(one.argument));
    values.push_back(one.value);
  }
  const auto [first, last] = std::minmax_element(logs.begin(), logs.end());
  const Range range{*first, *last};
  if (!(range.last > range.first))
    throw Error(place, "all pulses have the same height", "use pulses of many heights, or no correction");
  const double middle = median(values);  // taken out, so that the penalties weigh differences alone
  for (double& value : values) value -= middle;

  const FallingSpline spline(basis_at(logs, range, options.intervals),
                             Eigen::Map<const VectorXd>(values.data(), static_cast<Index>(values.size())));
  VectorXd weights = weights_of(kept, VectorXd::Zero(static_cast<Index>(kept.size())), 1);
  Smooth smooth;
  double scatter = 1;
  for (int round = 0; round < robust_rounds; ++round) {
    smooth = spline.falling(weights, spline.best_penalty(weights));
    const VectorXd residuals = spline.residuals(smooth.coefficients);
    scatter = scatter_of(residuals, kept);
    weights = weights_of(kept, residuals, scatter);
  }

  FallingCurve made{.first_log = range.first,
                    .step_log = (range.last - range.first) / static_cast<double>(stored_points - 1),
                    .value = {},
                    .uncertainty = {},
                    .points_used = static_cast<std::size_t>((weights.array() > 0).count()),
                    .scatter = scatter};
  std::vector<double> stored;
  for (std::size_t i = 0; i < stored_points; ++i)
    stored.push_back(range.first + static_cast<double>(i) * made.step_log);
  const MatrixXd basis = basis_at(stored, range, options.intervals);
  const VectorXd curve = basis * smooth.coefficients;
  for (std::size_t i = 0; i < stored_points; ++i) {
    const VectorXd row = basis.row(static_cast<Index>(i));
    const double before = i == 0 ? std::numeric_limits<double>::infinity() : made.value.back();
    made.value.push_back(std::min(curve(static_cast<Index>(i)) + middle, before));
    made.uncertainty.push_back(std::max(scatter, 1.0) * std::sqrt(row.dot(smooth.covariance * row)));
  }
  return made;
}

CurveValue value_at(const FallingCurve& curve, double argument) {
  if (!(argument > 0) || curve.value.size() < 2) return {not_known, not_known, not_known};
  const std::vector<double>& y = curve.value;
  const auto last = static_cast<double>(y.size() - 1);
  const double wanted = (std::log(argument) - curve.first_log) / curve.step_log;
  const double position = std::clamp(wanted, 0.0, last);
  const std::size_t i = std::min(static_cast<std::size_t>(position), y.size() - 2);
  const double t = position - static_cast<double>(i);
  // Cubic Hermite with the slopes of the neighbours on either side.
  const auto slope = [&](std::size_t k) {
    const std::size_t before = k == 0 ? 0 : k - 1;
    const std::size_t after = std::min(k + 1, y.size() - 1);
    return (y[after] - y[before]) / static_cast<double>(after - before);
  };
  const double a = slope(i);
  const double b = slope(i + 1);
  const double rise = y[i + 1] - y[i];
  const double bend = a + b - 2 * rise;
  const double sag = 3 * rise - 2 * a - b;
  CurveValue found;
  found.value = y[i] + t * (a + t * (sag + t * bend));
  found.per_log = (a + t * (2 * sag + t * 3 * bend)) / curve.step_log;
  found.uncertainty = (1 - t) * curve.uncertainty[i] + t * curve.uncertainty[i + 1];
  const double beyond = (wanted - position) * curve.step_log * found.per_log;
  found.value += beyond;
  found.uncertainty = std::hypot(found.uncertainty, beyond);
  return found;
}

}  // namespace firstedge
