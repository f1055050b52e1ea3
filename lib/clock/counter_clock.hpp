// CounterClock: turns readings of a digitizer's counter into Instants by recorded pulses per second.
#pragma once

#include "firstedge/clock/clock_noise.hpp"
#include "firstedge/clock/edge_chain.hpp"
#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/clock/phase_filter.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/core/second_edge.hpp"

#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

struct CounterClockOptions {
  double rate_hz = 0;      ///< the counter's nominal rate, ticks a second
  EdgeChainOptions chain;  ///< what may be a second
  /// Of the reference that the counter is made from (1e-7 s for 10 MHz): slips are told as whole numbers of
  /// it. NaN: not known.
  double reference_period_s = std::numeric_limits<double>::quiet_NaN();
  double edge_delay_s = 0;             ///< how late the edges come at the counter, by cables and the receiver
  double reference_uncertainty_s = 0;  ///< standard uncertainty of the pulses' own time and that delay
  /// Known beforehand; without it, found from the edges.
  std::optional<ClockNoise> noise = std::nullopt;
};

/// A jump of the counter against the edges. kind says what its size is: whole seconds and reference periods
/// have their number in `count`.
struct CounterSlip {
  enum class Kind : std::uint8_t { whole_seconds, reference_periods, other };
  std::size_t edge_before = 0, edge_after = 0;  ///< positions among the edges given
  /// In the counter's own seconds; positive: the edges come later by the counter.
  Estimate size_s;
  Kind kind = Kind::other;
  std::int64_t count = 0;
};

/// What became of the edges: used + wild + uncorrected + unclear + doubled + spurious is all of them.
struct EdgeAccount {
  std::size_t given = 0, used = 0;
  std::size_t wild = 0;         ///< on their second, but too far from their neighbours' course
  std::size_t uncorrected = 0;  ///< without a receiver's correction where most have one
  std::size_t unclear = 0;      ///< beside a lost second, on which side nothing says
  std::size_t doubled = 0, spurious = 0;
  std::uint64_t missed = 0;  ///< seconds without an edge
  std::size_t labelled = 0;
  std::size_t labels_wrong = 0;  ///< labels that contradict the others for a while; not believed
};

/// A reading's time.
struct CounterInstant {
  Instant tai;
  double uncertainty_s = 0;  ///< standard, of the model and the reference; not of the reading itself
  /// Distance from the nearest edge that was used, s; beyond the first or last one it is holdover.
  double from_edge_s = 0;
  bool holdover = false;
  bool in_slip = false;  ///< between two edges where the counter jumped: the middle of both courses is taken
};

/// A counter tied to TAI by pulses per second.
///
/// Model: the time of a reading is its nominal time plus a phase whose rate walks at random; each edge shows
/// it with white noise; the counter may jump between edges. Chosen are, in this order: the edges that are
/// seconds (edge_chain.hpp); the seconds are numbered by labels (second_labels.hpp); wild edges are left out
/// and jumps below the tolerance found (slip_search.hpp); the noise is the most likely one (clock_noise.hpp);
/// phase and rate follow by a Kalman smoother (phase_filter.hpp). The receiver's corrections are applied when
/// at least half of the edges have one; the others are then left out.
///
/// Accuracy, by simulation of this model: stated uncertainties hold 68.3 % and 95.4 % of the errors between
/// edges, with the noise found too, and in holdover with the noise given. With the noise found from 700 edges
/// the uncertainty in holdover is up to 25 % too large, since the rate's walk is taken at its upper end.
/// Three days of seconds take some seconds.
///
/// Where it fails: a receiver's quantisation that is not corrected moves slowly at times and is not white:
/// the times follow it. A rate that changes by steps (temperature shocks) is taken as a walk. A slip of whole
/// seconds without labels cannot be seen. Leap seconds are in the labels' scale and cost nothing.
class CounterClock {
 public:
  /// edges: in the order of the counter, at least fewest_edges; at least one labelled. Throws Error for a
  /// counter that falls or stands still, a rate that is not positive, a label that is not a whole second, no
  /// label, and fewer than fewest_edges that can be used.
  static CounterClock from_edges(std::span<const SecondEdge> edges, const LeapSeconds& leap_seconds,
                                 const CounterClockOptions& options);

  /// Throws Error for readings that are no time (counter_time.hpp).
  CounterInstant at(const CounterReading& reading) const;

  const EdgeAccount& account() const { return account_; }
  const std::vector<CounterSlip>& slips() const { return slips_; }
  const ClockNoise& noise() const { return noise_; }
  bool corrected() const { return corrected_; }
  double rate_hz() const { return options_.rate_hz; }

  /// One edge that was used: counter time since the first second, what it shows, and what the model says
  /// there.
  struct Node {
    std::size_t edge = 0;
    double time_s = 0;
    double offset_s = 0;    ///< true less nominal time, less the mean rate and the jumps
    double smoothed_s = 0;  ///< the same by the model
    double uncertainty_s = 0;
    double rate = 0;  ///< relative: true seconds in a counter second, less 1
    double rate_uncertainty = 0;
  };
  std::vector<Node> nodes() const;
  /// Mean of true seconds in a counter second, less 1.
  double mean_rate() const { return rate_; }
  /// The first second's time on TAI.
  const Instant& begin() const { return origin_tai_; }

  static constexpr std::size_t fewest_edges = 8;

 private:
  CounterClock() = default;
  CounterInstant told(double time_s, const ClockState& state, double jumped_s, std::size_t nearest) const;
  CounterInstant in_slip(double time_s, std::size_t before) const;
  ClockState state_between(double time_s, std::size_t before) const;

  CounterClockOptions options_;
  CounterReading origin_;  // the first second's edge
  Instant origin_tai_;
  double rate_ = 0;
  std::vector<std::size_t> edge_;  // of each node, its position among the edges given
  std::vector<PhaseNode> nodes_;   // the edges that are seconds, phases in units of their noise
  std::vector<double> jumped_s_;   // all jumps up to each node
  PhaseTrack track_;
  WalkRatios walks_;
  ClockNoise noise_;
  EdgeAccount account_;
  std::vector<CounterSlip> slips_;
  bool corrected_ = false;
};

}  // namespace firstedge
