#include "firstedge/timing/family_shape.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/stamp.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

#include <boost/math/interpolators/cardinal_quintic_b_spline.hpp>

namespace firstedge {
namespace {

constexpr int newton_steps = 30;
constexpr double reach = 2;  // of the instants from those of the mean, in transition durations

void check(const ShapeFamily& family) {
  const std::string place = "shape family of channel '" + printable(family.mean.channel) + "'";
  for (const ShapeComponent& one : family.components) {
    if (one.shape.size() != family.mean.shape.size())
      throw Error(place, "a component has another number of points than the mean", "build the family again");
    if (!std::all_of(one.shape.begin(), one.shape.end(), [](double value) { return std::isfinite(value); }))
      throw Error(place, "a point of a component is not a finite number", "build the family again");
  }
}

}  // namespace

struct FamilyShape::Splines {
  using Function = boost::math::interpolators::cardinal_quintic_b_spline<double>;
  std::vector<Function> of;  // of the position on the mean's points, 0 to last
  double first_s = 0, interval_s = 1, last = 0;
};

FamilyShape::FamilyShape(const ShapeFamily& family) : mean_(family.mean) {
  check(family);
  auto splines = std::make_shared<Splines>();
  splines->first_s = family.mean.first_s;
  splines->interval_s = family.mean.interval_s;
  splines->last = static_cast<double>(family.mean.shape.size() - 1);
  for (const ShapeComponent& one : family.components) {
    std::vector<double> y = one.shape;
    for (double& value : y) value /= mean_.peak();
    splines->of.emplace_back(y.data(), y.size(), 0.0, 1.0, std::pair{y[1] - y[0], 0.0},
                             std::pair{y.back() - y[y.size() - 2], 0.0});
  }
  splines_ = std::move(splines);
}

std::size_t FamilyShape::components() const {
  return splines_->of.size();
}

double FamilyShape::component(std::size_t which, double t_s, int derivative) const {
  const Splines::Function& spline = splines_->of[which];
  const double position = std::clamp((t_s - splines_->first_s) / splines_->interval_s, 0.0, splines_->last);
  if (derivative == 0) return spline(position);
  if (derivative == 1) return spline.prime(position) / splines_->interval_s;
  return spline.double_prime(position) / (splines_->interval_s * splines_->interval_s);
}

double FamilyShape::member(std::span<const double> coefficients, double t_s, int derivative) const {
  double value = derivative == 0   ? mean_.value(t_s)
                 : derivative == 1 ? mean_.slope_per_s(t_s)
                                   : mean_.curvature_per_s2(t_s);
  value /= mean_.peak();
  for (std::size_t c = 0; c < coefficients.size(); ++c)
    value += coefficients[c] * component(c, t_s, derivative);
  return value;
}

FamilyShape::Instants FamilyShape::instants(std::span<const double> coefficients) const {
  const double room = reach * mean_.transition_duration_s();
  const auto near = [room](double t, double middle) { return std::abs(t - middle) <= room; };
  double peak_s = mean_.peak_s();
  for (int step = 0; step < newton_steps && near(peak_s, mean_.peak_s()); ++step) {
    const double bend = member(coefficients, peak_s, 2);
    if (!(bend < 0)) break;
    const double move = -member(coefficients, peak_s, 1) / bend;
    peak_s += std::clamp(move, -room / 8, room / 8);
    if (std::abs(move) < 1e-6 * room) break;
  }
  Instants found;
  found.peak = member(coefficients, peak_s, 0);
  const double level = mean_.reference_fraction() * found.peak;
  found.reference_s = mean_.reference_s();
  bool settled = false;
  for (int step = 0; step < newton_steps && !settled && near(found.reference_s, mean_.reference_s());
       ++step) {
    found.slope_per_s = member(coefficients, found.reference_s, 1);
    const double move = (level - member(coefficients, found.reference_s, 0)) / found.slope_per_s;
    settled = std::abs(move) < 1e-9 * room;
    found.reference_s += std::clamp(move, -room / 8, room / 8);
  }
  if (!settled || !(found.slope_per_s > 0) || !near(peak_s, mean_.peak_s()))
    return {not_known, std::vector<double>(coefficients.size(), not_known), not_known, not_known};
  for (std::size_t c = 0; c < coefficients.size(); ++c) {
    const double rise =
        component(c, found.reference_s, 0) - mean_.reference_fraction() * component(c, peak_s, 0);
    found.reference_per_coefficient_s.push_back(-rise / found.slope_per_s);
  }
  return found;
}

}  // namespace firstedge
