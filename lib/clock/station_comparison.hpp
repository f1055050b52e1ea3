// Two or three stations compared, as a result that can be shown.
#pragma once

#include "firstedge/clock/common_view.hpp"
#include "firstedge/clock/link_stability.hpp"
#include "firstedge/core/result.hpp"

#include <limits>
#include <vector>

namespace firstedge {

struct StationComparisonOptions {
  TrackChoice choice;
  /// Half width of the smoothed course; 0 leaves it out.
  double smoothing_half_width_s = 21600;
  /// Standard uncertainty of the stations' delays (type B) in the difference of the first two; NaN: not
  /// known.
  double calibration_uncertainty_s = std::numeric_limits<double>::quiet_NaN();
};

/// stations: two, or three for a closure. The first less the second in common view, and all in view where
/// they see enough; smoothed course, offset and rate, time deviation, the satellites beside one another; for
/// three, the closure. Uncertainty of the offset: the largest time deviation (type A) and the calibration's
/// in quadrature; with the latter unknown, a warning says so. Times after the table of leap seconds expires,
/// and tracks that do not start on the common schedule, are told. Throws Error as common_view and
/// link_course, and for another number of stations.
Result compare_stations(const std::vector<StationTracks>& stations, const LeapSeconds& leap_seconds,
                        const StationComparisonOptions& options = {});

}  // namespace firstedge
