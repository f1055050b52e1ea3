#include "firstedge/clock/phase_filter.hpp"

#include <cmath>

namespace firstedge {
namespace {

// Of the first state: a phase within 1e4 and a rate within 1e4 a second of 0, both in units of the noise,
// cover what is left of a series whose mean rate has been taken out.
constexpr double unknown_variance = 1e8;

void improve(ClockState& state, double measured, PhaseTrack& track, bool counts) {
  const double variance = state.phase_variance + 1;
  const double innovation = measured - state.phase;
  const double gain = state.phase_variance / variance;
  const double rate_gain = state.covariance / variance;
  state.phase += gain * innovation;
  state.rate += rate_gain * innovation;
  state.rate_variance -= rate_gain * state.covariance;
  state.covariance *= 1 - gain;
  state.phase_variance *= 1 - gain;
  if (!counts) return;
  track.squares += innovation * innovation / variance;
  track.log_variances += std::log(variance);
  ++track.terms;
}

}  // namespace

ClockState predicted(const ClockState& state, double interval_s, const WalkRatios& walks) {
  const double t = interval_s;
  const double length = std::abs(t);
  ClockState next = state;
  next.phase += state.rate * t;
  next.phase_variance += 2 * t * state.covariance + t * t * state.rate_variance + walks.phase * length +
                         walks.rate * length * length * length / 3;
  next.covariance += t * state.rate_variance + walks.rate * t * length / 2;
  next.rate_variance += walks.rate * length;
  return next;
}

ClockState smoothed(const ClockState& state, double interval_s, const ClockState& later_predicted,
                    const ClockState& later) {
  // G = P F' / P(predicted), row by row: how phase and rate follow the later phase and rate.
  const ClockState& p = later_predicted;
  const double phase_phase = state.phase_variance + interval_s * state.covariance;
  const double rate_phase = state.covariance + interval_s * state.rate_variance;
  const double determinant = p.phase_variance * p.rate_variance - p.covariance * p.covariance;
  if (!(determinant > 0)) return state;
  const double g11 = (phase_phase * p.rate_variance - state.covariance * p.covariance) / determinant;
  const double g12 = (state.covariance * p.phase_variance - phase_phase * p.covariance) / determinant;
  const double g21 = (rate_phase * p.rate_variance - state.rate_variance * p.covariance) / determinant;
  const double g22 = (state.rate_variance * p.phase_variance - rate_phase * p.covariance) / determinant;
  const double phase = later.phase - p.phase, rate = later.rate - p.rate;
  const double d11 = later.phase_variance - p.phase_variance;
  const double d12 = later.covariance - p.covariance;
  const double d22 = later.rate_variance - p.rate_variance;
  ClockState better = state;
  better.phase += g11 * phase + g12 * rate;
  better.rate += g21 * phase + g22 * rate;
  better.phase_variance += g11 * g11 * d11 + 2 * g11 * g12 * d12 + g12 * g12 * d22;
  better.covariance += g11 * g21 * d11 + (g11 * g22 + g12 * g21) * d12 + g12 * g22 * d22;
  better.rate_variance += g21 * g21 * d11 + 2 * g21 * g22 * d12 + g22 * g22 * d22;
  return better;
}

PhaseTrack filtered_track(std::span<const PhaseNode> nodes, const WalkRatios& walks) {
  PhaseTrack track;
  track.filtered.reserve(nodes.size());
  ClockState state{.phase_variance = unknown_variance, .rate_variance = unknown_variance};
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (i > 0) state = predicted(state, nodes[i].time_s - nodes[i - 1].time_s, walks);
    state.phase_variance += nodes[i].loosens;
    // The first two edges, and one behind a jump, find the state rather than test it.
    const bool counts = i >= 2 && nodes[i].loosens == 0;
    improve(state, nodes[i].phase, track, counts);
    track.filtered.push_back(state);
  }
  return track;
}

PhaseTrack smoothed_track(std::span<const PhaseNode> nodes, const WalkRatios& walks) {
  PhaseTrack track = filtered_track(nodes, walks);
  track.smoothed = track.filtered;
  for (std::size_t i = nodes.size(); i-- > 1;) {
    const double interval = nodes[i].time_s - nodes[i - 1].time_s;
    ClockState later = predicted(track.filtered[i - 1], interval, walks);
    later.phase_variance += nodes[i].loosens;
    track.smoothed[i - 1] = smoothed(track.filtered[i - 1], interval, later, track.smoothed[i]);
  }
  return track;
}

ClockState between(const ClockState& filtered, double from_s, const ClockState& later, double to_s,
                   const WalkRatios& walks) {
  const ClockState here = predicted(filtered, from_s, walks);
  return smoothed(here, to_s, predicted(here, to_s, walks), later);
}

}  // namespace firstedge
