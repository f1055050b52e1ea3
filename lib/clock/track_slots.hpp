// Tracks put in order by their start, and means over the tracks of one start. For common_view.cpp.
#pragma once

#include "firstedge/clock/common_view.hpp"

#include <map>
#include <utility>
#include <vector>

namespace firstedge {

/// A station's tracks of one signal: by start and satellite, rejects counted.
using TrackKey = std::pair<std::int64_t, SatelliteId>;  // start on UTC, s since 1970
using OrderedTracks = std::map<TrackKey, const SatelliteTrack*>;
OrderedTracks ordered_tracks(const StationTracks& station, const TrackChoice& choice, TrackAccount& account);

/// The system and code to compare by: those asked for, or the pair with the most tracks at both stations.
TrackChoice decided(const StationTracks& first, const StationTracks& second, const TrackChoice& asked);

/// One value of a slot.
struct SlotValue {
  std::int64_t start = 0;
  SatelliteId satellite;
  double middle_s = 0;  ///< of the track, after its start
  double value_s = 0;
  double variance = 0;  ///< s^2, relative to the others
  bool wild = false;
};

struct SlotMean {
  std::int64_t start = 0;
  double middle_s = 0;
  Estimate mean_s;  ///< uncertainty by the weights, scaled
  std::size_t values = 0;
};

/// values: sorted by start. Marks the wild ones and returns the weighted means of the rest, one a start.
struct SlotMeans {
  std::vector<SlotMean> means;
  double scale = 0;  ///< NaN where no slot has two values
};
SlotMeans slot_means(std::vector<SlotValue>& values, double wildest);

/// Mean of each satellite's values less the mean of their slot; wild ones left out.
std::vector<SatelliteShare> satellite_shares(const std::vector<SlotValue>& values, const SlotMeans& means);

}  // namespace firstedge
