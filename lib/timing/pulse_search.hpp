// Pulse search: where in a conditioned trace the pulses are.
#pragma once

#include "firstedge/core/pulse.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/timing/channel_noise.hpp"
#include "firstedge/timing/resting_level.hpp"

#include <optional>
#include <utility>
#include <vector>

namespace firstedge {

struct SearchOptions {
  enum class Polarity { positive, negative, either };
  Polarity polarity = Polarity::either;
  double threshold_over_noise = 6;    ///< in standard deviations of the noise
  std::optional<double> threshold_v;  ///< replaces threshold_over_noise
  std::size_t most_pulses = 16;  ///< the first ones kept; the last kept is flagged piled_up if more follow
  double dead_time_s = 0;        ///< pulses that start closer than this to one before are one with it
  std::optional<std::pair<double, double>>
      window_s;  ///< only pulses whose leading edge starts in it, seconds from the trigger
  /// An excursion to the other side that follows a pulse directly and stays below this share of its height is
  /// the undershoot of an AC coupling, not a pulse.
  double undershoot_share = 0.3;
  /// A renewed rise (and the dip before it) below this share of the height of the pulse before is its
  /// ringing.
  double ringing_share = 0.05;
};

/// Setup group "search": {"polarity": "either" | "positive" | "negative", "threshold": "20 mV" | absent,
/// "threshold_over_noise": 6, "most_pulses": 16, "dead_time": "0 s", "window": [..], "undershoot_share": 0.3,
/// "ringing_share": 0.05}. Throws Error for values without sense.
SearchOptions search_options(const Settings& settings);

/// Below this height over the noise of one sample a pulse is flagged low_signal. Down to it simulation finds
/// 68.3 % +- 1.5 % of the true times within one stated uncertainty, for levels from 0.3 to 0.5 of the height;
/// below it noise and slope are alike, 70 % and more are within uncertainties that have outliers of
/// nanoseconds, and the times lean to one side by more than a tenth of an uncertainty (tests/unit/timing).
inline constexpr double lowest_height_over_noise = 10;

/// Pulses in order of time, at most options.most_pulses. load_ohm turns the integral into charge (NaN if it
/// is not positive).
///
/// A pulse starts when the trace passes the threshold and ends when it comes back to a thousandth of its
/// height. On the way down a second pulse is told from the first by a clear dip and a renewed rise, each of
/// at least the threshold, sqrt(2) times the threshold over the noise (a difference of two noisy samples),
/// and ringing_share of the first pulse's height; both are then flagged piled_up. Two pulses without a dip
/// between them count as one. After a pulse that came back, the next has to rise by the first two of these
/// over the lowest sample since, so that noise on a slow tail makes no pulse.
///
/// Ringing: an excursion of the same polarity below ringing_share of the pulse before is not a pulse when it
/// starts within one length of that pulse after its end.
///
/// Undershoot: an excursion of the other polarity is not a pulse when its extreme is below undershoot_share
/// of the height of the pulse before (below the whole height if that one is clipped, since its true height is
/// not known) and it follows directly: it starts within one length of that pulse after its end, or the trace
/// between the two rests on the excursion's side by more than a quarter of the excursion.
///
/// False pulses: with Gaussian noise each sample has a chance of 2 Q(threshold_over_noise) for `either` (half
/// of it for one polarity), 1.97e-9 at 6: one in 500,000 traces of 1,000 samples. Q is the Gaussian tail.
///
/// Flags: edge_of_record (the region touches the first or the last sample), clipped (the region overlaps
/// clipped samples), piled_up, low_signal (see lowest_height_over_noise), no_baseline (from the trace),
/// unsteady_baseline (resting_level.hpp, of the trace between the pulse before and this one).
///
/// The noise of a sample is taken as at least step_v/sqrt(12). When it is 0 (noiseless, not quantised) and no
/// threshold_v is given, the threshold is one hundredth of the largest excursion. NaN samples never start a
/// pulse. An empty trace has none. The work is linear in the number of samples.
std::vector<Pulse> find_pulses(const ConditionedTrace& trace, const ChannelNoise& noise, double load_ohm,
                               const SearchOptions& options);

/// The same made ready for the many traces of a channel. Safe to use from many threads.
class PulseSearch {
 public:
  PulseSearch(ChannelNoise noise, double load_ohm, const SearchOptions& options)
      : noise_(std::move(noise)), load_ohm_(load_ohm), options_(options) {}
  std::vector<Pulse> operator()(const ConditionedTrace& trace) const;

 private:
  RestingNoise noise_;
  double load_ohm_ = 0;
  SearchOptions options_;
};

}  // namespace firstedge
