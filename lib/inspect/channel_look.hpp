// ChannelLook: what a look through the records gathers of one channel.
#pragma once

#include "firstedge/batch/learning.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/core/trace.hpp"
#include "firstedge/signal/noise_average.hpp"

#include <cstdint>
#include <set>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Sums and samples gathered over the traces of one channel. add() in record order.
class ChannelLook {
 public:
  explicit ChannelLook(const LearntChannel& channel);

  void add(const Trace& trace);
  void add_missing() { ++missing_; }

  const LearntChannel& channel() const { return channel_; }
  std::uint64_t traces() const { return traces_; }
  std::uint64_t missing() const { return missing_; }
  std::uint64_t pulses() const { return positive_ + negative_; }
  /// Share of pulses that go up; NaN without pulses.
  double share_positive() const;
  /// Pulses a second of recorded time.
  double pulse_rate_hz() const;
  double clipped_trace_share() const;
  /// Share of the digitizer's range between the lowest and the highest sample met; NaN if the range is not
  /// known.
  double range_used() const;
  double lowest_v() const { return lowest_v_; }
  double highest_v() const { return highest_v_; }
  const std::vector<double>& baselines_v() const { return baselines_v_; }
  /// Median of the pulses that are not clipped, with its standard uncertainty (stats/spread.hpp).
  Estimate height_v() const;
  /// Standard deviation of a sample before the pulses. Standard uncertainty of Gaussian noise with the
  /// autocorrelation rho over the n samples learnt from: sigma sqrt((1 + 2 sum rho_k^2)/(2 n)) (M. S.
  /// Bartlett, J. R. Stat. Soc. Suppl. 8 (1946) 27, to first order; from memory).
  Estimate noise_v() const;
  const std::vector<double>& transition_durations_s() const { return transitions_s_; }
  const std::set<double>& intervals_s() const { return intervals_s_; }
  const std::set<std::size_t>& lengths() const { return lengths_; }
  /// What was quiet before the pulses of the last trace added; empty if it had another interval.
  std::span<const double> last_quiet_v() const { return last_quiet_v_; }
  PowerSpectrum noise_spectrum() const { return noise_.spectrum(); }
  /// True when no trace had two different samples.
  bool constant() const { return traces_ > 0 && highest_v_ == lowest_v_; }

 private:
  void add_pulse(const ConditionedTrace& trace, const Pulse& pulse);

  const LearntChannel& channel_;
  Conditioner conditioner_;
  std::uint64_t traces_ = 0, missing_ = 0, clipped_traces_ = 0;
  std::uint64_t positive_ = 0, negative_ = 0;
  double seconds_ = 0, lowest_v_ = 0, highest_v_ = 0, range_v_ = 0;
  std::vector<double> baselines_v_, heights_v_, transitions_s_;
  std::set<double> intervals_s_;
  std::set<std::size_t> lengths_;
  std::vector<double> last_quiet_v_;
  NoiseAverage noise_;
};

}  // namespace firstedge
