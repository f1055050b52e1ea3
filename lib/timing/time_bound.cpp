#include "firstedge/timing/time_bound.hpp"

#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/noise_whitening.hpp"
#include "firstedge/timing/template_shape.hpp"

#include <cassert>
#include <cmath>
#include <limits>
#include <vector>

namespace firstedge {
namespace {

constexpr int grid_positions = 16;  // of the sampling grid in the template, evenly over one sample interval

// From the information on the time (1/s^2) to its bound (s).
double bound_of(double information, const NoiseWhitening& whitening, const NoiseModel& noise) {
  if (!whitening.known()) {
    return !noise.autocovariance_v2.empty() && noise.covariance_v2(0) == 0 ? 0.0 : not_known;
  }
  return std::isnan(information) ? not_known : 1 / std::sqrt(information);
}

// What is left of `values` after its part along `direction` is taken away.
std::vector<double> without(std::vector<double> values, const std::vector<double>& direction) {
  const double length2 = sum_of_products(direction, direction);
  if (length2 == 0) return values;
  const double along = sum_of_products(values, direction) / length2;
  for (std::size_t i = 0; i < values.size(); ++i) values[i] -= along * direction[i];
  return values;
}

}  // namespace

double time_bound_s(std::span<const double> derivative_v_per_s, const NoiseModel& noise) {
  const NoiseWhitening whitening(noise, derivative_v_per_s.size());
  const std::vector<double> white = whitening.whitened(derivative_v_per_s);
  return bound_of(sum_of_products(white, white), whitening, noise);
}

double time_bound_with_height_s(std::span<const double> derivative_v_per_s, std::span<const double> shape_v,
                                const NoiseModel& noise) {
  assert(derivative_v_per_s.size() == shape_v.size());
  // Parts shorter than this (relative, squared) are what rounding leaves of parallel columns.
  constexpr double parallel = 1e-24;
  const NoiseWhitening whitening(noise, shape_v.size());
  const std::vector<double> slope = whitening.whitened(derivative_v_per_s);
  const std::vector<double> shape = whitening.whitened(shape_v);
  const std::vector<double> level = whitening.whitened(std::vector<double>(shape_v.size(), 1.0));
  std::vector<double> height_only = without(shape, level);
  if (sum_of_products(height_only, height_only) <= parallel * sum_of_products(shape, shape))
    height_only.assign(height_only.size(), 0.0);
  const std::vector<double> time_only = without(without(slope, level), height_only);
  double information = sum_of_products(time_only, time_only);
  if (information <= parallel * sum_of_products(slope, slope)) information = 0;
  return bound_of(information, whitening, noise);
}

TimeBound::TimeBound(const PulseTemplate& pulse_template, const NoiseModel& noise) {
  const TemplateShape shape(pulse_template);
  const double interval = noise.interval_s;
  const std::size_t samples = shape.samples_across(interval);
  const NoiseWhitening whitening(noise, samples);
  double information = 0;
  std::vector<double> slope(samples);
  for (int position = 0; position < grid_positions; ++position) {
    const double start = shape.first_s() + interval * position / grid_positions;
    for (std::size_t i = 0; i < samples; ++i)
      slope[i] = shape.slope_per_s(start + static_cast<double>(i) * interval) / shape.peak();
    const std::vector<double> white = whitening.whitened(slope);
    information += sum_of_products(white, white) / grid_positions;
  }
  at_one_volt_s_ = bound_of(information, whitening, noise);
}

double TimeBound::operator()(double height_v) const {
  return height_v > 0 ? at_one_volt_s_ / height_v : not_known;
}

double time_bound_s(const PulseTemplate& pulse_template, double height_v, const NoiseModel& noise) {
  return TimeBound(pulse_template, noise)(height_v);
}

}  // namespace firstedge
