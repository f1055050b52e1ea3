// Time bounds: the Cramer-Rao bound of the time of a known pulse shape in known noise.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"

#include <span>

namespace firstedge {

/// The bound (s) of a pulse whose samples have the derivative given (V/s, shape (samples,)), with height and
/// baseline known: 1/sqrt(d' C^-1 d), C the Toeplitz covariance of the noise. Source: S. Kay, Fundamentals of
/// Statistical Signal Processing: Estimation Theory (1993), 3.9 and ex. 3.13 (pages from memory).
///
/// Accuracy: white noise to rounding (1e-14 relative); coloured noise as NoiseWhitening says, which also says
/// what stands in for a covariance that is not positive definite. Infinite when the derivative is 0
/// everywhere or there are no samples, 0 when the noise is 0, NaN when the noise is not known (no covariance,
/// or not finite) or the derivative is not finite. The samples are taken to be noise.interval_s apart; the
/// bound holds at high signal-to-noise (no estimator without bias does better, few reach it when the pulse
/// stands less than about 5 standard deviations of the noise over the baseline).
double time_bound_s(std::span<const double> derivative_v_per_s, const NoiseModel& noise);

/// The same with height (column `shape_v`, V, shape (samples,)) and a constant baseline fitted at the same
/// time: never below the one above. Infinite when the derivative is a combination of the shape and a
/// constant.
double time_bound_with_height_s(std::span<const double> derivative_v_per_s, std::span<const double> shape_v,
                                const NoiseModel& noise);

/// The bound of a template in one noise, made ready: it scales with 1 over the height, so that each pulse
/// costs a division. Height and baseline are taken as known; for a template that starts and ends at the
/// baseline, fitting them costs nothing in white noise. The information is the mean over the positions of the
/// sampling grid in the template. Throws Error for a template
/// that TemplateShape refuses or that does not fit noise.interval_s. Safe to use from
/// many threads.
class TimeBound {
 public:
  TimeBound(const PulseTemplate& pulse_template, const NoiseModel& noise);
  /// Bound (s) of a pulse whose peak is height_v over the baseline; NaN unless the height is over 0.
  double operator()(double height_v) const;

 private:
  double at_one_volt_s_ = 0;
};

/// The bound of a template at the given height; use TimeBound for more than one pulse.
double time_bound_s(const PulseTemplate& pulse_template, double height_v, const NoiseModel& noise);

}  // namespace firstedge
