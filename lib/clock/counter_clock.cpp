#include "firstedge/clock/counter_clock.hpp"

#include "firstedge/clock/counter_model.hpp"
#include "firstedge/clock/time_scales.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {

CounterClock CounterClock::from_edges(std::span<const SecondEdge> edges, const LeapSeconds& leap_seconds,
                                      const CounterClockOptions& options) {
  CounterModel model = counter_model(edges, leap_seconds, options);
  CounterClock clock;
  clock.options_ = options;
  clock.origin_ = model.origin;
  clock.origin_tai_ = model.origin_tai;
  clock.rate_ = model.rate;
  clock.edge_ = std::move(model.edge);
  clock.jumped_s_ = std::move(model.jumped_s);
  clock.account_ = model.account;
  clock.slips_ = std::move(model.slips);
  clock.corrected_ = model.corrected;
  clock.nodes_ = std::move(model.nodes);
  clock.noise_ = options.noise ? *options.noise : most_likely_noise(clock.nodes_);
  clock.walks_ = ratios_of(clock.noise_);
  for (PhaseNode& node : clock.nodes_) node.phase /= clock.noise_.edge_s;
  clock.track_ = smoothed_track(clock.nodes_, clock.walks_);
  return clock;
}

CounterInstant CounterClock::at(const CounterReading& reading) const {
  const CounterTime time = counter_time(reading, origin_, options_.rate_hz);
  const double time_s = time.approximate_s();
  const auto after = std::partition_point(nodes_.begin(), nodes_.end(),
                                          [&](const PhaseNode& node) { return node.time_s <= time_s; });
  const auto behind = static_cast<std::size_t>(after - nodes_.begin());
  CounterInstant found;
  if (behind == 0) {
    found = told(time_s, predicted(track_.smoothed.front(), time_s - nodes_.front().time_s, walks_),
                 jumped_s_.front(), 0);
    found.holdover = true;
  } else if (behind == nodes_.size()) {
    found = told(time_s, predicted(track_.smoothed.back(), time_s - nodes_.back().time_s, walks_),
                 jumped_s_.back(), behind - 1);
    found.holdover = true;
  } else if (nodes_[behind].loosens > 0) {
    found = in_slip(time_s, behind - 1);
  } else {
    found = told(time_s, state_between(time_s, behind - 1), jumped_s_[behind - 1], behind - 1);
  }
  // The instant so far holds what is added to the counter's own time.
  found.tai.seconds += time.seconds;
  found.tai = advanced(found.tai, time.rest_s);
  return found;
}

// An instant that lies as much behind the first second as the state says time is ahead of the counter.
CounterInstant CounterClock::told(double time_s, const ClockState& state, double jumped_s,
                                  std::size_t nearest) const {
  const double offset_s = rate_ * time_s + state.phase * noise_.edge_s - jumped_s;
  const double model_s = std::sqrt(std::max(state.phase_variance, 0.0)) * noise_.edge_s;
  CounterInstant found;
  found.tai = advanced(origin_tai_, offset_s);
  found.uncertainty_s = std::hypot(model_s, options_.reference_uncertainty_s);
  found.from_edge_s = std::abs(time_s - nodes_[nearest].time_s);
  if (nearest + 1 < nodes_.size())
    found.from_edge_s = std::min(found.from_edge_s, std::abs(nodes_[nearest + 1].time_s - time_s));
  return found;
}

ClockState CounterClock::state_between(double time_s, std::size_t before) const {
  return between(track_.filtered[before], time_s - nodes_[before].time_s, track_.smoothed[before + 1],
                 nodes_[before + 1].time_s - time_s, walks_);
}

// Which side of the jump the reading is on is not known: the two courses are equally likely.
CounterInstant CounterClock::in_slip(double time_s, std::size_t before) const {
  const PhaseNode& left = nodes_[before];
  const PhaseNode& right = nodes_[before + 1];
  const ClockState early = predicted(track_.smoothed[before], time_s - left.time_s, walks_);
  const ClockState late = predicted(track_.smoothed[before + 1], time_s - right.time_s, walks_);
  const double early_s = early.phase * noise_.edge_s - jumped_s_[before];
  const double late_s = late.phase * noise_.edge_s - jumped_s_[before + 1];
  ClockState middle = early.phase_variance > late.phase_variance ? early : late;
  middle.phase = 0;
  CounterInstant found = told(time_s, middle, -0.5 * (early_s + late_s), before);
  found.uncertainty_s = std::hypot(found.uncertainty_s, 0.5 * (late_s - early_s));
  found.in_slip = true;
  return found;
}

std::vector<CounterClock::Node> CounterClock::nodes() const {
  std::vector<Node> shown;
  for (std::size_t i = 0; i < nodes_.size(); ++i) {
    const ClockState& state = track_.smoothed[i];
    shown.push_back({.edge = edge_[i],
                     .time_s = nodes_[i].time_s,
                     .offset_s = nodes_[i].phase * noise_.edge_s,
                     .smoothed_s = state.phase * noise_.edge_s,
                     .uncertainty_s = std::sqrt(std::max(state.phase_variance, 0.0)) * noise_.edge_s,
                     .rate = rate_ + state.rate * noise_.edge_s,
                     .rate_uncertainty = std::sqrt(std::max(state.rate_variance, 0.0)) * noise_.edge_s});
  }
  return shown;
}

}  // namespace firstedge
