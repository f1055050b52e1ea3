// The tables and plots of a station comparison. For station_comparison.cpp.
#pragma once

#include "firstedge/clock/station_comparison.hpp"

#include <optional>

namespace firstedge {

/// One way of comparing, with its course.
struct ComparedLink {
  std::string way;  ///< "common view", "all in view"
  StationLink link;
  LinkCourse course;
};

/// Modified Julian Date on UTC, as a plain number for axes: exact to 1e-11 d.
double date_of(const StationLink& link, double time_s, const LeapSeconds& leap_seconds);

Table stations_table(const std::vector<StationTracks>& stations);
Table links_table(const std::vector<ComparedLink>& links);
Table tracks_table(const std::vector<ComparedLink>& links);
Table satellites_table(const StationLink& link);
Table time_deviation_table(const std::vector<ComparedLink>& links);
Table closure_table(const std::vector<StationLink>& links, const LinkClosure& sum);

Plot link_plot(const std::vector<ComparedLink>& links, double half_width_s, const LeapSeconds& leap_seconds);
/// The same with the straight line of the first taken out.
Plot link_residual_plot(const std::vector<ComparedLink>& links, double half_width_s,
                        const LeapSeconds& leap_seconds);
Plot link_deviation_plot(const std::vector<ComparedLink>& links);
Plot satellites_plot(const StationLink& link);
Plot closure_plot(const StationLink& first, const LinkClosure& sum, const LeapSeconds& leap_seconds);

}  // namespace firstedge
