#include "firstedge/timing/template_shape.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/stamp.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include <boost/math/interpolators/cardinal_quintic_b_spline.hpp>

namespace firstedge {
namespace {

constexpr std::size_t fewest_points = 8;         // what a quintic spline needs
constexpr std::size_t most_points = 16'000'000;  // some 100 MB of spline
constexpr double fewest_samples = 5, most_samples = 1e6;
constexpr double golden_section = 0.618033988749895;
constexpr int bisections = 60;  // of one grid interval: below rounding

void check(const PulseTemplate& given, const std::string& place) {
  const auto finite = [](const std::vector<double>& values) {
    return std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); });
  };
  if (given.shape.size() < fewest_points || given.shape.size() > most_points)
    throw Error(place, "it has " + std::to_string(given.shape.size()) + " points",
                "give from " + std::to_string(fewest_points) + " to " + std::to_string(most_points));
  if (!(given.interval_s > 0) || !std::isfinite(given.interval_s) || !std::isfinite(given.first_s))
    throw Error(place, "its time axis is not usable", "give an interval over 0 and a finite first time");
  if (!finite(given.shape) || !finite(given.shape_uncertainty))
    throw Error(place, "a point is not a finite number", "build the template again");
  if (!given.shape_uncertainty.empty() && given.shape_uncertainty.size() != given.shape.size())
    throw Error(place, "it has another number of uncertainties than of points", "give one a point, or none");
  if (!(given.reference_fraction > 0 && given.reference_fraction < 1))
    throw Error(place, "its reference fraction is not between 0 and 1", "use a fraction such as 0.5");
  if (!(*std::max_element(given.shape.begin(), given.shape.end()) > 0))
    throw Error(place, "it has no positive peak", "templates are positive going; build it again");
}

}  // namespace

struct TemplateShape::Spline {
  using Function = boost::math::interpolators::cardinal_quintic_b_spline<double>;
  explicit Spline(const PulseTemplate& given)
      : points(given.shape),
        uncertainties(given.shape_uncertainty),
        function(points.data(), points.size(), 0.0, 1.0, {points[1] - points[0], 0.0},
                 {points.back() - points[points.size() - 2], 0.0}) {}
  std::vector<double> points, uncertainties;
  Function function;  // of the position on the grid, 0 to size - 1

  double at(double position) const { return function(std::clamp(position, 0.0, last())); }
  double last() const { return static_cast<double>(points.size() - 1); }
};

TemplateShape::TemplateShape(const PulseTemplate& pulse_template)
    : place_("template of channel '" + printable(pulse_template.channel) + "'") {
  check(pulse_template, place_);
  spline_ = std::make_shared<const Spline>(pulse_template);
  interval_s_ = pulse_template.interval_s;
  first_s_ = pulse_template.first_s;
  last_s_ = first_s_ + interval_s_ * spline_->last();
  reference_fraction_ = pulse_template.reference_fraction;

  // The peak: golden section between the neighbours of the highest point.
  const auto highest = std::max_element(spline_->points.begin(), spline_->points.end());
  const auto top = static_cast<double>(highest - spline_->points.begin());
  double low = std::max(top - 1, 0.0);
  double high = std::min(top + 1, spline_->last());
  for (int i = 0; i < bisections; ++i) {
    const double a = high - golden_section * (high - low);
    const double b = low + golden_section * (high - low);
    if (spline_->at(a) < spline_->at(b)) {
      low = a;
    } else {
      high = b;
    }
  }
  peak_ = std::max(spline_->at(0.5 * (low + high)), *highest);
  peak_s_ = first_s_ + interval_s_ * 0.5 * (low + high);
  reference_s_ = leading_crossing_s(reference_fraction_);
  if (std::isnan(reference_s_))
    throw Error(place_, "it starts above its reference fraction",
                "build it with more of the baseline before the edge");
  transition_duration_s_ = leading_crossing_s(0.9) - leading_crossing_s(0.1);
}

double TemplateShape::leading_crossing_s(double fraction) const {
  const double level = fraction * peak_;
  auto before = static_cast<std::ptrdiff_t>(std::floor(grid_position(peak_s_)));
  while (before >= 0 && spline_->points[static_cast<std::size_t>(before)] >= level) --before;
  if (before < 0) return not_known;
  auto low = static_cast<double>(before);
  double high = std::min(low + 1, grid_position(peak_s_));
  for (int i = 0; i < bisections; ++i) {
    const double middle = 0.5 * (low + high);
    if (spline_->at(middle) < level) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return first_s_ + interval_s_ * 0.5 * (low + high);
}

double TemplateShape::value(double t_s) const {
  return inside(t_s) ? spline_->at(grid_position(t_s)) : 0.0;
}

double TemplateShape::slope_per_s(double t_s) const {
  if (!inside(t_s)) return 0.0;
  return spline_->function.prime(std::clamp(grid_position(t_s), 0.0, spline_->last())) / interval_s_;
}

double TemplateShape::curvature_per_s2(double t_s) const {
  if (!inside(t_s)) return 0.0;
  return spline_->function.double_prime(std::clamp(grid_position(t_s), 0.0, spline_->last())) /
         (interval_s_ * interval_s_);
}

double TemplateShape::uncertainty(double t_s) const {
  if (spline_->uncertainties.empty() || !inside(t_s)) return 0.0;
  const double position = std::clamp(grid_position(t_s), 0.0, spline_->last());
  const auto before = std::min(static_cast<std::size_t>(position), spline_->points.size() - 2);
  const double part = position - static_cast<double>(before);
  return (1 - part) * spline_->uncertainties[before] + part * spline_->uncertainties[before + 1];
}

std::size_t TemplateShape::samples_across(double sample_interval_s) const {
  const double samples = std::floor((last_s_ - first_s_) / sample_interval_s) + 1;
  if (!(sample_interval_s > 0 && samples >= fewest_samples && samples <= most_samples))
    throw Error(place_, "it does not fit the sample interval of its channel",
                "build the template from traces of this channel");
  return static_cast<std::size_t>(samples);
}

double TemplateShape::reference_uncertainty_s() const {
  const double slope = slope_per_s(reference_s_);
  return slope > 0 ? uncertainty(reference_s_) / slope : 0.0;
}

}  // namespace firstedge
