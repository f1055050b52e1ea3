#include "firstedge/clock/track_slots.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <set>
#include <string>
#include <tuple>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Signal = std::pair<std::string, std::string>;  // system and code

Signal signal_of(const SatelliteTrack& track) {
  return {std::string(1, track.satellite.system), track.code};
}

// [begin, end) of the values with one start.
template <class Each>
void for_each_slot(const std::vector<SlotValue>& values, Each&& each) {
  for (std::size_t begin = 0; begin < values.size();) {
    std::size_t end = begin;
    while (end < values.size() && values[end].start == values[begin].start) ++end;
    each(begin, end);
    begin = end;
  }
}

void mark_wild(std::vector<SlotValue>& values, double wildest) {
  constexpr std::size_t fewest = 3;  // two cannot say which of them is wild
  std::vector<double> pulls(values.size(), std::numeric_limits<double>::quiet_NaN());
  for_each_slot(values, [&](std::size_t begin, std::size_t end) {
    if (end - begin < fewest) return;
    std::vector<double> slot;
    for (std::size_t i = begin; i < end; ++i) slot.push_back(values[i].value_s);
    const double middle = median(slot);
    for (std::size_t i = begin; i < end; ++i)
      pulls[i] = (values[i].value_s - middle) / std::sqrt(values[i].variance);
  });
  const double deviation = scaled_median_deviation(pulls);
  for (std::size_t i = 0; i < values.size(); ++i) values[i].wild = std::abs(pulls[i]) > wildest * deviation;
}

}  // namespace

OrderedTracks ordered_tracks(const StationTracks& station, const TrackChoice& choice, TrackAccount& account) {
  OrderedTracks ordered;
  for (const SatelliteTrack& track : station.tracks) {
    ++account.given;
    if (signal_of(track) != Signal{choice.system, choice.code})
      ++account.other_signal;
    else if (!std::isfinite(track.minus_system_s))
      ++account.without_value;
    else if (track.elevation_rad < choice.lowest_elevation_rad)
      ++account.low;
    else if (track.length_s < choice.shortest_track_s)
      ++account.short_track;
    else if (!ordered.emplace(TrackKey{track.start.seconds, track.satellite}, &track).second)
      ++account.repeated;
  }
  return ordered;
}

TrackChoice decided(const StationTracks& first, const StationTracks& second, const TrackChoice& asked) {
  std::map<Signal, std::set<TrackKey>> seen;
  for (const SatelliteTrack& track : first.tracks)
    seen[signal_of(track)].insert({track.start.seconds, track.satellite});
  std::map<Signal, std::size_t> matched;
  for (const SatelliteTrack& track : second.tracks) {
    const auto found = seen.find(signal_of(track));
    if (found != seen.end() && found->second.erase({track.start.seconds, track.satellite}) > 0)
      ++matched[found->first];
  }
  TrackChoice choice = asked;
  std::size_t most = 0;
  for (const auto& [signal, tracks] : matched) {
    const bool fits = (asked.system.empty() || asked.system == signal.first) &&
                      (asked.code.empty() || asked.code == signal.second);
    if (!fits || tracks <= most) continue;
    most = tracks;
    std::tie(choice.system, choice.code) = signal;
  }
  // A choice made of two words stays as it is: stations far apart may still be compared all in view.
  if (choice.system.empty() || choice.code.empty())
    throw Error("stations",
                fmt::format("'{}' and '{}' have no track of one satellite and signal in common",
                            first.station, second.station),
                "give files of the same days, or name a system and code that both have");
  return choice;
}

SlotMeans slot_means(std::vector<SlotValue>& values, double wildest) {
  mark_wild(values, wildest);
  SlotMeans found;
  double squares = 0;
  std::size_t degrees = 0;
  for_each_slot(values, [&](std::size_t begin, std::size_t end) {
    SlotMean slot{.start = values[begin].start};
    double weights = 0, sum = 0, middles = 0;
    double origin = 0;
    for (std::size_t i = begin; i < end; ++i) {
      if (values[i].wild) continue;
      if (slot.values == 0) origin = values[i].value_s;
      const double weight = 1 / values[i].variance;
      weights += weight;
      sum += weight * (values[i].value_s - origin);
      middles += weight * values[i].middle_s;
      ++slot.values;
    }
    if (slot.values == 0) return;
    slot.mean_s = {origin + sum / weights, 1 / std::sqrt(weights)};
    slot.middle_s = middles / weights;
    for (std::size_t i = begin; i < end; ++i) {
      const double away = values[i].value_s - slot.mean_s.value;
      if (!values[i].wild) squares += away * away / values[i].variance;
    }
    degrees += slot.values - 1;
    found.means.push_back(slot);
  });
  found.scale = std::sqrt(squares / static_cast<double>(degrees));
  if (found.scale > 0)
    for (SlotMean& slot : found.means) slot.mean_s.uncertainty *= found.scale;
  return found;
}

std::vector<SatelliteShare> satellite_shares(const std::vector<SlotValue>& values, const SlotMeans& means) {
  std::map<std::int64_t, double> mean_of;
  for (const SlotMean& slot : means.means) mean_of[slot.start] = slot.mean_s.value;
  std::map<SatelliteId, std::vector<double>> residuals;
  for (const SlotValue& value : values)
    if (!value.wild) residuals[value.satellite].push_back(value.value_s - mean_of.at(value.start));
  std::vector<SatelliteShare> shares;
  for (const auto& [satellite, of_it] : residuals) {
    const Moments found = moments(of_it);
    shares.push_back({satellite, of_it.size(), found.mean, found.deviation.value});
  }
  return shares;
}

}  // namespace firstedge
