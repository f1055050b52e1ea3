// TemplateShape: a pulse template as a smooth function of time, with the measures read off it.
#pragma once

#include "firstedge/core/pulse_template.hpp"

#include <cstddef>
#include <memory>
#include <string>

namespace firstedge {

/// The quintic B-spline through the points of a template. Time in seconds from the reference instant.
///
/// Error of value(): of order interval_s^6; for an edge of 0.9 ns (10 % to 90 %, Gaussian) and points 25 ps
/// apart below 1e-9 of the height, so that the grid moves a fitted time by less than 0.001 ps. At the two
/// ends the slope is that of the last two points and the curvature 0; both fade within some six points.
///
/// Throws Error for a template that cannot be used: fewer than 8 or more than 16 million points, an interval
/// that is not over 0, anything not finite, no positive peak, a reference fraction not inside (0, 1) or never
/// crossed before the peak, uncertainties of another length than the shape (none at all is allowed: then 0).
class TemplateShape {
 public:
  explicit TemplateShape(const PulseTemplate& pulse_template);

  double first_s() const { return first_s_; }
  double last_s() const { return last_s_; }
  /// Each of them 0 outside [first_s, last_s].
  double value(double t_s) const;
  double slope_per_s(double t_s) const;
  double curvature_per_s2(double t_s) const;
  /// Standard uncertainty of value(), by linear interpolation between the points.
  double uncertainty(double t_s) const;

  double peak() const { return peak_; }      ///< largest value (1 for a built template)
  double peak_s() const { return peak_s_; }  ///< where it stands
  /// Where the leading edge crosses the reference fraction of the peak: 0 for a built template.
  double reference_s() const { return reference_s_; }
  double reference_fraction() const { return reference_fraction_; }
  /// 10 % to 90 % of the peak on the leading edge, IEEE Std 181.
  double transition_duration_s() const { return transition_duration_s_; }
  /// Standard uncertainty of reference_s() from that of the shape: the part of the uncertainty that all times
  /// of this template share.
  double reference_uncertainty_s() const;
  /// How many samples of this interval stand within the support, counted from its first instant. Throws Error
  /// for an interval that is not over 0, or for fewer than 5 or more than 1 million samples: a template of
  /// another time scale.
  std::size_t samples_across(double sample_interval_s) const;
  /// Last crossing of a fraction of the peak before it; NaN when the template starts above that level.
  double leading_crossing_s(double fraction) const;

 private:
  struct Spline;
  double grid_position(double t_s) const { return (t_s - first_s_) / interval_s_; }
  bool inside(double t_s) const { return t_s >= first_s_ && t_s <= last_s_; }

  std::string place_;
  std::shared_ptr<const Spline> spline_;
  double first_s_ = 0, last_s_ = 0, interval_s_ = 0;
  double peak_ = 0, peak_s_ = 0, reference_s_ = 0, reference_fraction_ = 0, transition_duration_s_ = 0;
};

}  // namespace firstedge
