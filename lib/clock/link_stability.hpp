// The time deviation of a link, and the uncertainty that it gives the comparison of two stations.
#pragma once

#include "firstedge/clock/common_view.hpp"
#include "firstedge/stats/stability_interval.hpp"

#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// Tracks start every 16 minutes (Rapport BIPM-93/6; a gap of 28 minutes once a day).
inline constexpr double track_spacing_s = 960;

/// A straight line through the points of a link, and what is left of it.
struct LinkCourse {
  Estimate offset_s;  ///< at middle_s
  double middle_s = 0;
  Estimate rate;                                  ///< relative frequency, first less second
  double residual_deviation_s = 0;                ///< about the line
  std::vector<StabilityEstimate> time_deviation;  ///< of what is left, on a grid of track_spacing_s
  /// Its largest value up to a quarter of the run: the type A part of the link, which white noise and slow
  /// errors both enter. NaN below 16 points.
  double type_a_s = 0;
};

/// The line is weighted by 1/u^2; the uncertainties of offset and rate are scaled by the residuals' scatter
/// and hold for white noise only: take type_a_s for the link. Points go to the nearest place of an even grid,
/// which moves them by at most 8 minutes: after the line is taken out, nothing for clocks better than 1e-12.
/// Throws Error below 3 points.
LinkCourse link_course(std::span<const LinkPoint> points);

}  // namespace firstedge
