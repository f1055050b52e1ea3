// ClockNoise: how noisy the edges of a pulse per second are, and how a counter's rate wanders; found from the
// edges themselves.
#pragma once

#include "firstedge/clock/phase_filter.hpp"

#include <span>

namespace firstedge {

/// Standard deviations. An edge has white noise; the counter's phase walks by phase_walk a root second (white
/// frequency noise) and its rate by rate_walk a root second (random walk frequency noise).
struct ClockNoise {
  double edge_s = 0;      ///< s
  double phase_walk = 0;  ///< s/sqrt(s)
  double rate_walk = 0;   ///< 1/sqrt(s)
};

/// The noise under which the edges are most likely (the likelihood of the innovations, its scale taken out:
/// A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, sec. 3.4, from
/// memory), but with the rate's walk raised to where the likelihood has fallen by exp(-1/2): as noisy a rate
/// as the edges do not speak against, since it alone sets how holdover grows.
///
/// nodes: phases in s. Searches ratios from 1e-9 to 1e2 (phase) and 1e-16 to 1 (rate), within 5 % of a
/// factor. At least 8 nodes (assert). Few edges, or a short run, leave the rate's walk large.
ClockNoise most_likely_noise(std::span<const PhaseNode> nodes);

/// The walks of this noise over the variance of an edge.
WalkRatios ratios_of(const ClockNoise& noise);

}  // namespace firstedge
