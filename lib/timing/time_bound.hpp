// Time bounds: the Cramer-Rao bound of the time of a known pulse shape in known noise.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"

#include <span>

namespace firstedge {

/// The bound (s) of a pulse whose samples have the derivative given (V/s, shape (samples,)), with height and
/// baseline known: 1/sqrt(d' C^-1 d), C the Toeplitz covariance of the noise. Source: S. Kay, Fundamentals of
/// Statistical Signal Processing: Estimation Theory (1993), 3.9 and ex. 3.13.
double time_bound_s(std::span<const double> derivative_v_per_s, const NoiseModel& noise);

/// The same with height (column `shape`, V) and a constant baseline fitted at the same time.
double time_bound_with_height_s(std::span<const double> derivative_v_per_s, std::span<const double> shape_v,
                                const NoiseModel& noise);

/// The bound of a template at the given height.
double time_bound_s(const PulseTemplate& pulse_template, double height_v, const NoiseModel& noise);

}  // namespace firstedge
