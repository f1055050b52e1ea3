#include "firstedge/stats/landau_gaussian.hpp"

#include "firstedge/stats/landau.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

#include <boost/math/tools/minima.hpp>

namespace firstedge {
namespace {

// A Gaussian is integrated to this many of its standard deviations on either side.
constexpr double gaussian_reach = 8;
// Ratio of widths below which the Gaussian changes nothing: 1/2 s^2 phi''/phi < 1e-8.
constexpr double narrowest_gaussian = 1e-4;

// Step of the trapezoidal rule for a ratio s of the widths: its error is the integrand's Fourier transform at
// 2 pi/step. Landau's falls as exp(-pi w/2), the Gaussian's as exp(-s^2 w^2/2); both are below 1e-9 where
// w = 13.2 and w = 6.5/s, and the transform of their product reaches no further than the sum.
double trapezoid_step(double s) {
  return 2 * std::numbers::pi / (13.2 + 6.5 / s);
}

// Landau's density on an even lattice with cubic interpolation: the same to 1e-9 as landau_density, at a
// fifth of its cost. Made once, by whichever thread comes first.
class LandauLattice {
 public:
  LandauLattice() {
    for (int i = 0; i < points; ++i) density_[static_cast<std::size_t>(i)] = landau_density(first + i * step);
  }
  double operator()(double x) const {
    const double at = (x - first) / step;
    if (!(at >= 1 && at < points - 3)) return x < first ? 0 : landau_density(x);
    const auto i = static_cast<std::size_t>(at);
    const double t = at - static_cast<double>(i);
    const double before = density_[i - 1], left = density_[i], right = density_[i + 1],
                 after = density_[i + 2];
    // Lagrange's cubic through the four neighbours.
    const double outer = after - before - 3 * (right - left);
    const double bend = before - 2 * left + right;
    return left + t * (right - left) + 0.5 * t * (t - 1) * bend + t * (t * t - 1) / 6 * outer;
  }

 private:
  static constexpr int points = 8192;
  static constexpr double first = -7, step = 1.0 / 64;  // up to 121; phi(-7) is below 1e-170
  std::array<double, points> density_{};
};

double lattice_landau(double x) {
  static const LandauLattice lattice;
  return lattice(x);
}

// The blur of one ratio of widths, made ready for many points: the trapezoidal rule's weights on one side.
class Blur {
 public:
  explicit Blur(double ratio) {
    if (ratio < narrowest_gaussian) return;
    weights_.clear();
    const auto nodes = std::ceil(gaussian_reach * ratio / trapezoid_step(ratio));
    step_ = gaussian_reach * ratio / nodes;
    for (double i = 0; i <= nodes; ++i) weights_.push_back(step_ / ratio * normal_density(i * step_ / ratio));
  }

  // Density at u Landau widths from the origin of phi.
  double operator()(double u) const {
    double sum = weights_.front() * lattice_landau(u);
    for (std::size_t i = 1; i < weights_.size(); ++i) {
      const double y = static_cast<double>(i) * step_;
      sum += weights_[i] * (lattice_landau(u - y) + lattice_landau(u + y));
    }
    return sum;
  }

 private:
  double step_ = 0;
  std::vector<double> weights_{1.0};
};

// Nodes of the table are this far apart in w.
constexpr double node_step = 0.045;
// No table reaches further than this many Landau widths, whatever is asked for.
constexpr double furthest = 1e9;
// Three-point Gauss-Legendre rule on (0, 1).
constexpr std::array<double, 3> rule_at{0.1127016653792583, 0.5, 0.8872983346207417};
constexpr std::array<double, 3> rule_weight{5.0 / 18, 8.0 / 18, 5.0 / 18};

}  // namespace

double landau_gaussian_density(double x, const LandauGaussian& curve) {
  assert(curve.landau_width > 0 && curve.gaussian_width >= 0);
  const double u = (x - curve.most_probable) / curve.landau_width + landau_mode;
  return Blur(curve.gaussian_width / curve.landau_width)(u) / curve.landau_width;
}

double landau_gaussian_peak(const LandauGaussian& curve) {
  const double s = curve.gaussian_width / curve.landau_width;
  // The peak moves right by less than the Gaussian's width.
  const Blur density(s);
  const auto lower = [&density](double u) { return -density(u); };
  const auto [u, least] =
      boost::math::tools::brent_find_minima(lower, landau_mode - 0.5, landau_mode + 0.5 + s, 24);
  return curve.most_probable + (u - landau_mode) * curve.landau_width;
}

LandauGaussianTable::LandauGaussianTable(const LandauGaussian& curve, double highest)
    : curve_(curve), stretch_(1 + curve.gaussian_width / curve.landau_width) {
  const double s = curve.gaussian_width / curve.landau_width;
  const double low = -6 * s - 4;
  const double high = std::clamp((highest - curve.most_probable) / curve.landau_width, 10 + 6 * s, furthest);
  first_w_ = std::asinh(low / stretch_);
  const auto cells =
      static_cast<std::size_t>(std::ceil((std::asinh(high / stretch_) - first_w_) / node_step));
  const Blur density(s);
  const auto u_at = [&](double position) { return stretch_ * std::sinh(first_w_ + position * node_step); };
  for (std::size_t i = 0; i <= cells; ++i) {
    log_density_.push_back(std::log(std::max(density(u_at(static_cast<double>(i))), 1e-290)));
  }
  // Slopes by differences of fourth order, of lower order at the ends.
  const auto& f = log_density_;
  slope_.resize(f.size());
  for (std::size_t i = 0; i < f.size(); ++i) {
    if (i >= 2 && i + 2 < f.size()) {
      slope_[i] = (8 * (f[i + 1] - f[i - 1]) - (f[i + 2] - f[i - 2])) / 12;
    } else {
      const std::size_t before = i > 0 ? i - 1 : 0;
      const std::size_t after = std::min(i + 1, f.size() - 1);
      slope_[i] = (f[after] - f[before]) / static_cast<double>(after - before);
    }
  }
  cumulative_.assign(1, 0.0);
  for (std::size_t i = 0; i < cells; ++i) {
    double cell = 0;
    for (std::size_t k = 0; k < rule_at.size(); ++k) {
      const double position = static_cast<double>(i) + rule_at[k];
      const double du = stretch_ * std::cosh(first_w_ + position * node_step) * node_step;
      cell += rule_weight[k] * du * std::exp(log_at(position));
    }
    cumulative_.push_back(cumulative_.back() + cell);
  }
}

double LandauGaussianTable::position(double x) const {
  const double u = (x - curve_.most_probable) / curve_.landau_width + landau_mode;
  return (std::asinh(u / stretch_) - first_w_) / node_step;
}

// Cubic Hermite inside, straight lines outside.
double LandauGaussianTable::log_at(double at) const {
  const double last = static_cast<double>(log_density_.size() - 1);
  if (!(at > 0)) return log_density_.front() + at * slope_.front();
  if (at >= last) return log_density_.back() + (at - last) * slope_.back();
  const auto i = static_cast<std::size_t>(at);
  const double t = at - static_cast<double>(i);
  const double rise = log_density_[i + 1] - log_density_[i];
  const double a = slope_[i] - rise;
  const double b = rise - slope_[i + 1];
  return log_density_[i] + t * (rise + (1 - t) * ((1 - t) * a + t * b));
}

double LandauGaussianTable::log_density(double x) const {
  return log_at(position(x)) - std::log(curve_.landau_width);
}

double LandauGaussianTable::cumulative(double x) const {
  const double at = position(x);
  if (!(at > 0)) return 0;
  const auto last = static_cast<double>(cumulative_.size() - 1);
  if (at >= last) {
    // Landau's tail: the density falls nearly as 1/u^2, so that what lies above goes as density times u; and
    // u grows as exp(w) out there.
    return 1 -
           (1 - cumulative_.back()) * std::exp(log_at(at) - log_density_.back() + (at - last) * node_step);
  }
  const auto i = static_cast<std::size_t>(at);
  const double part = at - static_cast<double>(i);
  double sum = 0;
  for (std::size_t k = 0; k < rule_at.size(); ++k) {
    const double position = static_cast<double>(i) + rule_at[k] * part;
    const double du = stretch_ * std::cosh(first_w_ + position * node_step) * node_step * part;
    sum += rule_weight[k] * du * std::exp(log_at(position));
  }
  return cumulative_[i] + sum;
}

}  // namespace firstedge
