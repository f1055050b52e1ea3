// Two stations' clocks compared by navigation satellites: in common view (the same satellites at the same
// time) and all in view (each station's own mean).
#pragma once

#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/core/satellite_track.hpp"

#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

struct TrackChoice {
  /// One system and one code of it, the same at both stations: "G", "L3P". Both empty: those with the most
  /// matched tracks.
  std::string system, code;
  double lowest_elevation_rad = std::numbers::pi / 18;  ///< 10 degrees, common practice
  double shortest_track_s = 780;                        ///< shorter ones are left out
  /// Noise of one track that its residuals do not show (multipath, ephemeris), s: it keeps a quiet track from
  /// ruling the mean.
  double floor_s = 0.5e-9;
  double wildest = 5;  ///< robust deviations from the median of its slot beyond which a track is left out
};

/// One start of tracks, the mean over the satellites then: first station less second.
struct LinkPoint {
  double time_s = 0;  ///< of the middle of the tracks, since the link's begin
  Estimate difference_s;
  std::size_t satellites = 0;
};

/// What one satellite says beside the others.
struct SatelliteShare {
  SatelliteId satellite;
  std::size_t tracks = 0;
  Estimate residual_s;     ///< mean of its differences less those of the slot
  double deviation_s = 0;  ///< of these
};

/// What became of the tracks: each of a station's tracks is used or counted once.
struct TrackAccount {
  std::uint64_t given = 0, other_signal = 0, without_value = 0, low = 0, short_track = 0, repeated = 0;
  std::uint64_t alone = 0;  ///< in common view: the other station has no such track
  std::uint64_t wild = 0, used = 0;
};

struct StationLink {
  std::string first, second;  ///< names of the stations
  std::string system, code;
  Instant begin;                  ///< on TAI: the first middle of a track
  std::vector<LinkPoint> points;  ///< in rising order of time
  std::vector<SatelliteShare> satellites;
  TrackAccount first_account, second_account;
  /// Scatter of single tracks about their slot over what their weights expect: uncertainties are scaled by
  /// it.
  double scale = std::numeric_limits<double>::quiet_NaN();
};

/// For each start at which both stations have a track of the same satellite: the mean of [REFSYS(first) -
/// REFSYS(second)] = clock(first) - clock(second), weighted by 1/(DSG^2 of both + 2 floor^2), which satellite
/// clocks and most of the ionosphere's and orbits' errors leave. A difference further than `wildest` robust
/// deviations from the median of its slot is left out (slots of three satellites or more). Uncertainties are
/// scaled so that the scatter within slots is what they say (Birge ratio over all slots; not scaled where no
/// slot has two).
///
/// Where it fails: errors that a satellite keeps over many tracks (multipath repeats daily, see the table of
/// satellites) are in the points but not in their uncertainties: they show in the time deviation. Errors
/// common to all satellites, such as wrong delays, do not show at all.
///
/// Throws Error where the stations have no track in common, and for a choice that has none.
StationLink common_view(const StationTracks& first, const StationTracks& second,
                        const LeapSeconds& leap_seconds, const TrackChoice& choice = {});

/// Each station's weighted mean of REFSYS over all of its satellites, and the difference of these at starts
/// that both have: more satellites, and stations too far apart for common view, at the price of the
/// satellites' own clock and orbit errors, which no longer cancel one by one. Otherwise as common_view.
StationLink all_in_view(const StationTracks& first, const StationTracks& second,
                        const LeapSeconds& leap_seconds, const TrackChoice& choice = {});

/// Local straight lines through the points, weighted by 1/u^2 and by (1 - |t/half_width|^3)^3 (W. S.
/// Cleveland, J. Am. Stat. Assoc. 74 (1979) 829): a slope leaves no bias. The uncertainty is that of
/// independent points. A point with no neighbour keeps its value. half_width_s positive.
std::vector<LinkPoint> smoothed(std::span<const LinkPoint> points, double half_width_s);

/// Sums (A - B) + (B - C) + (C - A) at the starts that all three links have: 0 but for the noise of
/// satellites that not all three share.
struct LinkClosure {
  std::vector<LinkPoint> points;  ///< times since the first link's begin; uncertainty as of independent links
  Estimate mean_s;                ///< its uncertainty from the sums' own scatter; NaN below two points
  double deviation_s = std::numeric_limits<double>::quiet_NaN();
};
LinkClosure closure(const StationLink& first_second, const StationLink& second_third,
                    const StationLink& third_first);

}  // namespace firstedge
