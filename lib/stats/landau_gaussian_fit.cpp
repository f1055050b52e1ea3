#include "firstedge/stats/landau_gaussian_fit.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/landau.hpp"
#include "firstedge/stats/least_squares.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <memory>
#include <optional>
#include <vector>

#include <Eigen/Dense>
#include <fmt/format.h>
#include <gsl/gsl_multimin.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double lowest_ratio = 0.02, highest_ratio = 10;

using Point = Eigen::Vector3d;  // (position - origin)/scale, ln(Landau width/scale), ln(Gaussian width/scale)
using Matrix = Eigen::Matrix3d;

// The sample in the range, and the unit in which it is fitted.
struct Sample {
  std::vector<double> sorted;
  double low = 0, high = 0;
  double origin = 0, scale = 1;

  LandauGaussian curve_at(const Point& point) const {
    return {origin + scale * point[0], scale * std::exp(point[1]), scale * std::exp(point[2])};
  }
  Point point_of(const LandauGaussian& curve) const {
    return {(curve.most_probable - origin) / scale, std::log(curve.landau_width / scale),
            std::log(curve.gaussian_width / scale)};
  }
};

double probability_in_range(const LandauGaussianTable& table, const Sample& sample) {
  const double up_to_high = std::isinf(sample.high) ? 1.0 : table.cumulative(sample.high);
  return up_to_high - (std::isinf(sample.low) ? 0.0 : table.cumulative(sample.low));
}

double highest_needed(const Sample& sample) {
  return std::isinf(sample.high) ? sample.sorted.back() : sample.high;
}

bool in_bounds(const Point& point) {
  const double ratio = std::exp(point[2] - point[1]);
  // Ten thousand units from the sample or in width is no fit of it.
  return ratio >= lowest_ratio && ratio <= highest_ratio && std::abs(point[0]) < 1e4 &&
         std::abs(point[1]) < 10;
}

// Minus the mean log-likelihood of a value, for the curve cut to the range.
double cost(const Sample& sample, const Point& point) {
  constexpr double refused = 1e10;
  if (!in_bounds(point)) return refused;
  const LandauGaussianTable table(sample.curve_at(point), highest_needed(sample));
  const double inside = probability_in_range(table, sample);
  // Below the accuracy of the integral.
  if (!(inside > 1e-5)) return refused;
  double sum = 0;
  for (const double value : sample.sorted) sum += table.log_density(value);
  const double found = std::log(inside) - sum / static_cast<double>(sample.sorted.size());
  // GSL's minimizer must not meet anything that is not finite.
  return std::isfinite(found) ? std::min(found, refused) : refused;
}

// The best of several ways to share the width of the peak out.
Point best_start(const Sample& sample) {
  const Shorth half = shorth_of_sorted(sample.sorted);
  // Half of Landau's probability lies within 3.6 widths at its peak (from its table), half of a normal one's
  // within 1.349.
  const double width = std::max(half.high - half.low, 1e-6 * sample.scale);
  Point best = Point::Zero();
  double least = std::numeric_limits<double>::infinity();
  for (const double ratio : {0.1, 0.5, 1.5, 5.0}) {
    const double landau_width = width / std::hypot(3.6, 1.349 * ratio);
    for (const double shift : {0.0, 0.2, -0.2}) {
      const LandauGaussian curve{half.low + (0.45 + shift) * width, landau_width, ratio * landau_width};
      const Point point = sample.point_of(curve);
      const double here = cost(sample, point);
      if (here < least) {
        least = here;
        best = point;
      }
    }
  }
  return best;
}

// Nelder and Mead's simplex (GSL): robust, to about a hundredth of the widths; Newton does the rest.
Point descend(const Sample& sample, const Point& start) {
  const auto function = [](const gsl_vector* at, void* context) {
    return cost(*static_cast<const Sample*>(context),
                Point(gsl_vector_get(at, 0), gsl_vector_get(at, 1), gsl_vector_get(at, 2)));
  };
  gsl_multimin_function target{function, 3, const_cast<Sample*>(&sample)};
  const std::unique_ptr<gsl_vector, void (*)(gsl_vector*)> at(gsl_vector_alloc(3), gsl_vector_free);
  const std::unique_ptr<gsl_vector, void (*)(gsl_vector*)> step(gsl_vector_alloc(3), gsl_vector_free);
  for (std::size_t i = 0; i < 3; ++i) gsl_vector_set(at.get(), i, start[static_cast<Eigen::Index>(i)]);
  gsl_vector_set_all(step.get(), 0.2);
  const std::unique_ptr<gsl_multimin_fminimizer, void (*)(gsl_multimin_fminimizer*)> simplex(
      gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2, 3), gsl_multimin_fminimizer_free);
  gsl_multimin_fminimizer_set(simplex.get(), &target, at.get(), step.get());
  for (int round = 0; round < 200; ++round) {
    if (gsl_multimin_fminimizer_iterate(simplex.get()) != 0) break;
    if (gsl_multimin_fminimizer_size(simplex.get()) < 1e-2) break;
  }
  return {gsl_vector_get(simplex->x, 0), gsl_vector_get(simplex->x, 1), gsl_vector_get(simplex->x, 2)};
}

struct Derivatives {
  Point gradient;
  Matrix hessian;
};

// Central differences; the step is large against the table's errors and small against the curve's bends.
Derivatives derivatives(const std::function<double(const Point&)>& function, const Point& at) {
  constexpr double step = 0.02;
  Derivatives found;
  const double middle = function(at);
  std::array<Point, 3> along;
  for (int i = 0; i < 3; ++i) along.at(i) = step * Point::Unit(i);
  for (int i = 0; i < 3; ++i) {
    const double up = function(at + along.at(i));
    const double down = function(at - along.at(i));
    found.gradient[i] = (up - down) / (2 * step);
    found.hessian(i, i) = (up - 2 * middle + down) / (step * step);
    for (int j = 0; j < i; ++j) {
      const double mixed =
          function(at + along.at(i) + along.at(j)) - function(at + along.at(i) - along.at(j)) -
          function(at - along.at(i) + along.at(j)) + function(at - along.at(i) - along.at(j));
      found.hessian(i, j) = found.hessian(j, i) = mixed / (4 * step * step);
    }
  }
  return found;
}

// How far inside the bounds of the ratio a point must lie for its derivatives to be had.
bool well_inside(const Point& point) {
  const double log_ratio = point[2] - point[1];
  return log_ratio > std::log(lowest_ratio) + 0.1 && log_ratio < std::log(highest_ratio) - 0.1;
}

struct Minimum {
  Point point;
  Matrix covariance = Matrix::Constant(nan);
};

// Newton's steps to the maximum, then the covariance there. free: how many of the parameters move (the
// Gaussian width, the last, is held where the likelihood no longer depends on it).
std::optional<Minimum> polish(const Sample& sample, Point point, int free) {
  const auto n = static_cast<double>(sample.sorted.size());
  const auto function = [&sample](const Point& at) { return cost(sample, at); };
  for (int round = 0; round < 20; ++round) {
    const Derivatives here = derivatives(function, point);
    const Eigen::MatrixXd hessian = here.hessian.topLeftCorner(free, free);
    const Eigen::LLT<Eigen::MatrixXd> factor(hessian);
    if (factor.info() != Eigen::Success || !hessian.allFinite()) return std::nullopt;
    Eigen::VectorXd step = -factor.solve(here.gradient.head(free));
    const double longest = step.cwiseAbs().maxCoeff();
    if (longest > 0.3) step *= 0.3 / longest;
    point.head(free) += step;
    if (!in_bounds(point)) return std::nullopt;
    // A hundredth of a standard error.
    if (-step.dot(here.gradient.head(free)) * n < 1e-4 && longest < 0.3) {
      Minimum minimum{.point = point};
      minimum.covariance.setZero();
      minimum.covariance.topLeftCorner(free, free) = factor.solve(Eigen::MatrixXd::Identity(free, free)) / n;
      return minimum;
    }
  }
  return std::nullopt;
}

// A figure of the curve and its uncertainty to first order.
Estimate carried(const std::function<double(const Point&)>& figure, const Minimum& minimum, double freedom) {
  constexpr double step = 1e-3;
  Point slope;
  for (int i = 0; i < 3; ++i) {
    const Point along = step * Point::Unit(i);
    slope[i] = (figure(minimum.point + along) - figure(minimum.point - along)) / (2 * step);
  }
  return {figure(minimum.point), std::sqrt(slope.dot(minimum.covariance * slope)), freedom};
}

void give_goodness(LandauGaussianFit& fit, const Sample& sample, int fitted) {
  const LandauGaussianTable table(fit.curve(), highest_needed(sample));
  const double before = std::isinf(sample.low) ? 0.0 : table.cumulative(sample.low);
  const double inside = probability_in_range(table, sample);
  const auto n = static_cast<double>(sample.sorted.size());
  const auto bins = static_cast<std::size_t>(std::clamp(n / 10, 5.0, 100.0));
  std::vector<double> counts(bins, 0.0);
  for (const double value : sample.sorted) {
    const double part = (table.cumulative(value) - before) / inside;
    const auto bin = static_cast<std::size_t>(std::clamp(part, 0.0, 1.0) * static_cast<double>(bins));
    counts[std::min(bin, bins - 1)] += 1;
  }
  const double expected = n / static_cast<double>(bins);
  fit.chi_square = 0;
  for (const double count : counts) fit.chi_square += (count - expected) * (count - expected) / expected;
  fit.degrees_of_freedom = static_cast<double>(bins) - 1 - fitted;
  fit.probability = chi_square_probability(fit.chi_square, fit.degrees_of_freedom);
}

void give_figures(LandauGaussianFit& fit, const Sample& sample, const Minimum& minimum, int fitted) {
  const auto n = static_cast<double>(sample.sorted.size());
  const double freedom = n - fitted;
  fit.most_probable =
      carried([&](const Point& at) { return sample.curve_at(at).most_probable; }, minimum, freedom);
  fit.landau_width =
      carried([&](const Point& at) { return sample.curve_at(at).landau_width; }, minimum, freedom);
  fit.gaussian_width =
      carried([&](const Point& at) { return sample.curve_at(at).gaussian_width; }, minimum, freedom);
  fit.peak =
      carried([&](const Point& at) { return landau_gaussian_peak(sample.curve_at(at)); }, minimum, freedom);
  const auto whole = [&](const Point& at) {
    return n / probability_in_range(LandauGaussianTable(sample.curve_at(at), highest_needed(sample)), sample);
  };
  fit.pulses = carried(whole, minimum, freedom);
  // The number in the range scatters by itself.
  fit.pulses.uncertainty = std::hypot(fit.pulses.uncertainty, fit.pulses.value / std::sqrt(n));
  give_goodness(fit, sample, fitted);
}

Sample gather(LandauGaussianFit& fit, std::span<const double> values) {
  Sample sample{.sorted = finite_sorted(values), .low = fit.low, .high = fit.high};
  fit.not_finite = values.size() - sample.sorted.size();
  const auto first = std::lower_bound(sample.sorted.begin(), sample.sorted.end(), fit.low);
  fit.below = static_cast<std::size_t>(first - sample.sorted.begin());
  sample.sorted.erase(sample.sorted.begin(), first);
  const auto last = std::upper_bound(sample.sorted.begin(), sample.sorted.end(), fit.high);
  fit.above = static_cast<std::size_t>(sample.sorted.end() - last);
  sample.sorted.erase(last, sample.sorted.end());
  fit.inside = sample.sorted.size();
  return sample;
}

LandauGaussianFit without_figures(const LandauGaussianFitOptions& options) {
  LandauGaussianFit fit;
  fit.most_probable = fit.landau_width = fit.gaussian_width = fit.peak = fit.pulses = {nan, nan, nan};
  fit.chi_square = fit.degrees_of_freedom = fit.probability = nan;
  fit.low = options.low;
  fit.high = options.high;
  return fit;
}

}  // namespace

std::string_view words_of(LandauGaussianFit::Outcome outcome) {
  switch (outcome) {
    case LandauGaussianFit::Outcome::found:
      return "found";
    case LandauGaussianFit::Outcome::too_few:
      return "too few values in the range";
    case LandauGaussianFit::Outcome::no_spread:
      return "more than half of the values are equal";
    case LandauGaussianFit::Outcome::no_gaussian_width:
      return "no Gaussian width can be told from 0";
    case LandauGaussianFit::Outcome::no_landau_width:
      return "a normal curve without a Landau tail fits best";
    case LandauGaussianFit::Outcome::not_determined:
      return "the values do not determine the curve";
  }
  return "";
}

LandauGaussianFit fit_landau_gaussian(std::span<const double> values,
                                      const LandauGaussianFitOptions& options) {
  if (!(options.low < options.high))
    throw Error("Landau fit", fmt::format("the range from {} to {} holds nothing", options.low, options.high),
                "give its lower end first");
  LandauGaussianFit fit = without_figures(options);
  Sample sample = gather(fit, values);
  if (fit.inside < LandauGaussianFit::fewest_values) return fit;
  sample.origin = quantile_of_sorted(sample.sorted, 0.5);
  sample.scale = quantile_of_sorted(sample.sorted, 0.75) - quantile_of_sorted(sample.sorted, 0.25);
  if (!(sample.scale > 0)) {
    fit.outcome = LandauGaussianFit::Outcome::no_spread;
    return fit;
  }
  Point point = descend(sample, best_start(sample));
  const double log_ratio = point[2] - point[1];
  fit.outcome = LandauGaussianFit::Outcome::not_determined;
  if (log_ratio > std::log(highest_ratio) - 0.2) {
    fit.outcome = LandauGaussianFit::Outcome::no_landau_width;
    return fit;
  }
  int free = 3;
  std::optional<Minimum> minimum;
  if (well_inside(point)) minimum = polish(sample, point, free);
  if (!minimum && log_ratio < std::log(0.2)) {
    // The likelihood goes flat as the Gaussian narrows: hold it so narrow that the curve is Landau's.
    free = 2;
    point[2] = point[1] + std::log(1.5 * lowest_ratio);
    minimum = polish(sample, point, free);
  }
  if (!minimum) return fit;
  fit.outcome = free == 3 ? LandauGaussianFit::Outcome::found : LandauGaussianFit::Outcome::no_gaussian_width;
  give_figures(fit, sample, *minimum, free);
  if (free == 2) fit.gaussian_width = {0, nan, fit.gaussian_width.degrees_of_freedom};
  return fit;
}

}  // namespace firstedge
