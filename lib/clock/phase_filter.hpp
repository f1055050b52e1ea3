// The two-state model of a clock: a phase whose rate walks at random, seen in white noise. For the files of
// lib/clock.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// Phase and rate with their covariance, in units of the white noise of one edge (and of it per second).
struct ClockState {
  double phase = 0, rate = 0;
  double phase_variance = 0, covariance = 0, rate_variance = 0;
};

/// The random walks of phase and rate per second, over the variance of one edge.
struct WalkRatios {
  double phase = 0;  ///< 1/s
  double rate = 0;   ///< 1/s^3
};

/// The state a time later (before it, if interval_s < 0): rate * interval is added, and the walks' variance
/// (G. Giorgi and C. Narduzzi, IEEE Trans. IM 60 (2011) 2902, eq. 9-11, from memory; derived anew).
ClockState predicted(const ClockState& state, double interval_s, const WalkRatios& walks);

/// The state before a measured later one is known, improved by it: one step of the Rauch-Tung-Striebel
/// smoother. later_predicted is predicted(state, interval_s, walks), later the smoothed state there.
ClockState smoothed(const ClockState& state, double interval_s, const ClockState& later_predicted,
                    const ClockState& later);

/// One edge of a series: its time and phase (in units of the noise). `loosens` says that the phase may have
/// jumped since the edge before, and what its variance grows by.
struct PhaseNode {
  double time_s = 0, phase = 0;
  double loosens = 0;
};

struct PhaseTrack {
  std::vector<ClockState> filtered, smoothed;  ///< one a node
  double squares = 0;        ///< of the innovations over their variance, the first two left out
  double log_variances = 0;  ///< sum of the logarithms of these variances
  std::size_t terms = 0;
};

/// Kalman filter (forward) over the nodes, which rise in time. Nothing is known of the first phase and rate.
PhaseTrack filtered_track(std::span<const PhaseNode> nodes, const WalkRatios& walks);
/// The same with the smoothed states.
PhaseTrack smoothed_track(std::span<const PhaseNode> nodes, const WalkRatios& walks);

/// Variance that a phase grows by, in units of the noise, where it may have jumped: as good as unknown beside
/// 1, and near enough to it for no digits to be lost.
inline constexpr double loose_variance = 1e6;

/// The state between two nodes: `filtered` at the one before, `later` smoothed at the one behind.
ClockState between(const ClockState& filtered, double from_s, const ClockState& later, double to_s,
                   const WalkRatios& walks);

}  // namespace firstedge
