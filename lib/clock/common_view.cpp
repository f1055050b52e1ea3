#include "firstedge/clock/common_view.hpp"

#include "firstedge/clock/track_slots.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// A track without DSG is taken as one of this.
constexpr double usual_residual_s = 3e-9;

double variance_of(const SatelliteTrack& track, const TrackChoice& choice) {
  const double residual = std::isfinite(track.residual_s) ? track.residual_s : usual_residual_s;
  return residual * residual + choice.floor_s * choice.floor_s;
}

void check(const TrackChoice& choice) {
  if (!(choice.floor_s > 0) || !(choice.wildest > 0))
    throw Error("stations", "the floor and the wildest distance are not above 0", "give positive numbers");
}

void count_wild(const std::vector<SlotValue>& values, TrackAccount& account) {
  for (const SlotValue& value : values) ++(value.wild ? account.wild : account.used);
}

Instant middle_of(const SlotMean& slot, const LeapSeconds& leap_seconds) {
  return advanced(leap_seconds.tai_of_utc({TimeScale::utc, slot.start, 0}), slot.middle_s);
}

// Points from means; times from the first of them.
void keep_points(StationLink& link, const std::vector<SlotMean>& means, const LeapSeconds& leap_seconds) {
  if (means.empty())
    throw Error("stations",
                fmt::format("'{}' and '{}' have no tracks of {} {} at the same time", link.first, link.second,
                            link.system, link.code),
                "give files of the same days and of a signal that both receive");
  link.begin = middle_of(means.front(), leap_seconds);
  for (const SlotMean& slot : means)
    link.points.push_back(
        {difference_s(middle_of(slot, leap_seconds), link.begin), slot.mean_s, slot.values});
}

StationLink empty_link(const StationTracks& first, const StationTracks& second, const TrackChoice& choice) {
  return {.first = first.station, .second = second.station, .system = choice.system, .code = choice.code};
}

// One station's own mean at each start.
SlotMeans station_means(const OrderedTracks& tracks, const TrackChoice& choice, TrackAccount& account) {
  std::vector<SlotValue> values;
  for (const auto& [key, track] : tracks)
    values.push_back(
        {key.first, key.second, 0.5 * track->length_s, track->minus_system_s, variance_of(*track, choice)});
  SlotMeans means = slot_means(values, choice.wildest);
  count_wild(values, account);
  return means;
}

}  // namespace

StationLink common_view(const StationTracks& first, const StationTracks& second,
                        const LeapSeconds& leap_seconds, const TrackChoice& asked) {
  check(asked);
  const TrackChoice choice = decided(first, second, asked);
  StationLink link = empty_link(first, second, choice);
  const OrderedTracks ours = ordered_tracks(first, choice, link.first_account);
  const OrderedTracks theirs = ordered_tracks(second, choice, link.second_account);
  std::vector<SlotValue> values;
  for (const auto& [key, track] : ours) {
    const auto other = theirs.find(key);
    if (other == theirs.end()) continue;
    values.push_back({key.first, key.second, 0.25 * (track->length_s + other->second->length_s),
                      track->minus_system_s - other->second->minus_system_s,
                      variance_of(*track, choice) + variance_of(*other->second, choice)});
  }
  link.first_account.alone = ours.size() - values.size();
  link.second_account.alone = theirs.size() - values.size();
  const SlotMeans means = slot_means(values, choice.wildest);
  count_wild(values, link.first_account);
  count_wild(values, link.second_account);
  link.scale = means.scale;
  link.satellites = satellite_shares(values, means);
  keep_points(link, means.means, leap_seconds);
  return link;
}

StationLink all_in_view(const StationTracks& first, const StationTracks& second,
                        const LeapSeconds& leap_seconds, const TrackChoice& asked) {
  check(asked);
  const TrackChoice choice = decided(first, second, asked);
  StationLink link = empty_link(first, second, choice);
  const OrderedTracks ours = ordered_tracks(first, choice, link.first_account);
  const OrderedTracks theirs = ordered_tracks(second, choice, link.second_account);
  const SlotMeans means = station_means(ours, choice, link.first_account);
  const SlotMeans other_means = station_means(theirs, choice, link.second_account);
  std::vector<SlotMean> differences;
  auto other = other_means.means.begin();
  for (const SlotMean& slot : means.means) {
    while (other != other_means.means.end() && other->start < slot.start) ++other;
    if (other == other_means.means.end()) break;
    if (other->start != slot.start) continue;
    differences.push_back({slot.start,
                           0.5 * (slot.middle_s + other->middle_s),
                           {slot.mean_s.value - other->mean_s.value,
                            std::hypot(slot.mean_s.uncertainty, other->mean_s.uncertainty)},
                           slot.values + other->values});
  }
  link.scale = std::hypot(means.scale, other_means.scale) / std::sqrt(2.0);
  keep_points(link, differences, leap_seconds);
  return link;
}

std::vector<LinkPoint> smoothed(std::span<const LinkPoint> points, double half_width_s) {
  assert(half_width_s > 0);
  std::vector<LinkPoint> smooth;
  std::size_t begin = 0, end = 0;
  for (const LinkPoint& here : points) {
    while (end < points.size() && points[end].time_s < here.time_s + half_width_s) ++end;
    while (points[begin].time_s <= here.time_s - half_width_s) ++begin;
    double s0 = 0, s1 = 0, s2 = 0;
    std::vector<double> weights;
    for (std::size_t i = begin; i < end; ++i) {
      const double t = points[i].time_s - here.time_s;
      const double u = points[i].difference_s.uncertainty;
      const double near = 1 - std::pow(std::abs(t) / half_width_s, 3);
      weights.push_back(near * near * near / (u * u));
      s0 += weights.back();
      s1 += weights.back() * t;
      s2 += weights.back() * t * t;
    }
    // Of points at one time alone, a mean.
    const double determinant = s0 * s2 - s1 * s1;
    const bool line = determinant > 1e-12 * s0 * s2;
    double value = 0, variance = 0;
    for (std::size_t i = begin; i < end; ++i) {
      const double t = points[i].time_s - here.time_s;
      const double share = weights[i - begin] * (line ? (s2 - s1 * t) / determinant : 1 / s0);
      value += share * (points[i].difference_s.value - here.difference_s.value);
      variance += share * share * points[i].difference_s.uncertainty * points[i].difference_s.uncertainty;
    }
    smooth.push_back({here.time_s, {here.difference_s.value + value, std::sqrt(variance)}, here.satellites});
  }
  return smooth;
}

LinkClosure closure(const StationLink& first_second, const StationLink& second_third,
                    const StationLink& third_first) {
  // Points of one start agree in time to the halves of their tracks' lengths.
  constexpr double same_time_s = 60;
  // Tracks are told to 1e-10 s: far less than that is what sums of doubles leave.
  constexpr double rounding_s = 1e-18;
  const auto at = [&](const StationLink& link, double time_s) -> const LinkPoint* {
    const double wanted = time_s - difference_s(link.begin, first_second.begin);
    const auto found = std::partition_point(link.points.begin(), link.points.end(), [&](const auto& point) {
      return point.time_s < wanted - same_time_s;
    });
    const bool there = found != link.points.end() && found->time_s < wanted + same_time_s;
    return there ? &*found : nullptr;
  };
  LinkClosure sum;
  std::vector<double> values;
  for (const LinkPoint& point : first_second.points) {
    const LinkPoint* second = at(second_third, point.time_s);
    const LinkPoint* third = at(third_first, point.time_s);
    if (second == nullptr || third == nullptr) continue;
    const Estimate& a = point.difference_s;
    const Estimate& b = second->difference_s;
    const Estimate& c = third->difference_s;
    const double around = a.value + b.value + c.value;
    values.push_back(std::abs(around) < rounding_s ? 0 : around);
    sum.points.push_back({point.time_s,
                          {values.back(), std::hypot(a.uncertainty, b.uncertainty, c.uncertainty)},
                          std::min({point.satellites, second->satellites, third->satellites})});
  }
  const Moments found = moments(values);
  sum.mean_s = found.mean;
  sum.deviation_s = found.count > 1 ? found.deviation.value : nan;
  return sum;
}

}  // namespace firstedge
