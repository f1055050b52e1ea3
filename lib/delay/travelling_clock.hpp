// Travelling clock: the offset of clock B against clock A by a portable clock that was compared with both.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/result.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace firstedge {

/// One comparison: what the portable clock reads less what the station's clock reads, at a time (s, of any
/// origin; a nanosecond of offset asks for it to no better than a second at a rate of 1e-9).
struct ClockVisit {
  std::string station;
  double time_s = 0;
  Estimate offset_s;
};

struct ClockTripOptions {
  std::string home;    ///< the station that the others are held against; "": that of the first visit
  bool drift = false;  ///< fit a drift of the rate as well; needs three visits at home, apart in time
  /// Allan deviation of the portable clock at 1 s if its noise is white frequency noise: its reading wanders
  /// by this times the root of the seconds. 0: the clock keeps its rate and drift exactly.
  double white_frequency = 0;
};

struct StationOffset {
  std::string station;
  Estimate offset_s;  ///< of the station's clock against home's, at the middle of its visits
  double time_s = 0;  ///< that middle
  std::size_t visits = 0;
  double wander_s = 0;  ///< part of the uncertainty that the portable clock's noise makes
};

/// What the portable clock would have read less home's clock at a time between the visits.
struct ClockReading {
  double time_s = 0;
  double offset_s = 0;  ///< by its rate and drift, with its likeliest wander
  double wander_s = 0;  ///< that wander alone; 0 where the clock keeps its rate exactly
};

struct ClockTrip {
  std::string home;
  Estimate rate;         ///< of the portable clock against home, at the middle of the trip (s/s)
  Estimate drift_per_s;  ///< of the rate (1/s); 0 where it was not fitted
  std::vector<StationOffset> stations;
  std::vector<double> residual_s;  ///< one a visit, in the order given: measured less fitted, wander and all
  std::vector<bool> checked;       ///< one a visit: whether another visit says what it should be
  std::vector<ClockReading> course;  ///< in rising order over the trip, the times of the visits among them
  double chi_square = 0, degrees_of_freedom = 0, probability = 1;
};

/// Generalised least squares: readings at home are x(t), at another station x(t) - (its offset against home),
/// x(t) = x0 + rate t (+ drift t^2/2), t from the middle of the trip. Comparisons are independent, the
/// portable clock's wander is a random walk common to all (covariance white_frequency^2 min(t1, t2) from the
/// first visit on: W. J. Riley, NIST SP 1065 (2008), 6; section from memory).
///
/// Visits A, B, A without wander: the offset of B is what linear interpolation between the two visits at A
/// says, u^2 = u_B^2 + (1 - f)^2 u_1^2 + f^2 u_2^2 with f the share of the time passed (derived). The course
/// less the reading at a station that was visited once is that station's offset, with wander or without.
///
/// Fails where the stations' clocks themselves run at different rates during the trip: that goes into the
/// offset, told for the time of the visit. Throws Error for fewer than two visits at home apart in time
/// (three with drift), no other station, more than 1,000 visits, values that are not finite or uncertainties
/// that are not positive, or a home without visits.
ClockTrip clock_trip(const std::vector<ClockVisit>& visits, const ClockTripOptions& options = {});

/// Figures, tables "stations" and "visits", plot "trip": the readings and the course, and where a visit
/// checks another plot "residuals": what the rate leaves of the readings, and the wander.
Result analyse_clock_trip(const std::vector<ClockVisit>& visits, const ClockTripOptions& options = {});

}  // namespace firstedge
