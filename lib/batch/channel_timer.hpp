// ChannelTimer: one learnt channel made ready to turn its traces into stamps, from many threads at once.
#pragma once

#include "firstedge/batch/learning.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/timing/methods.hpp"
#include "firstedge/timing/pulse_search.hpp"

#include <map>
#include <memory>
#include <mutex>
#include <span>
#include <vector>

namespace firstedge {

/// Turns traces of one channel into stamps. Methods are made ready once for each time base met: a pure
/// function of what was learnt and the interval, so that the stamps do not depend on which thread met it
/// first.
class ChannelTimer {
 public:
  /// methods[i] of the channel has number `numbers[i]` in the run's list of methods.
  ChannelTimer(const LearntChannel& channel, std::uint16_t number, std::vector<std::uint16_t> method_numbers);

  /// One stamp a pulse and method, ordered by pulse, then method. A method that finds further pulses itself
  /// has stamps with numbers beyond those of the search, for which the other methods have none. An empty
  /// trace gives none.
  std::vector<Stamp> stamps(const Trace& trace, std::uint64_t record) const;

  /// The stamps of each of several traces, of the records with these numbers.
  std::vector<std::vector<Stamp>> stamps(std::span<const Trace> traces,
                                         std::span<const std::uint64_t> records) const;
  /// How many traces are best given at once.
  std::size_t traces_at_once() const { return ready(channel_.interval_s).conditioner.traces_at_once(); }

  /// The methods at the interval that was learnt.
  const std::vector<TimingMethod>& methods() const { return *ready(channel_.interval_s).methods; }

 private:
  struct Ready {
    Conditioner conditioner;
    PulseSearch search;
    std::shared_ptr<const std::vector<TimingMethod>> methods;
  };
  const Ready& ready(double interval_s) const;
  std::vector<Stamp> stamps_of(const ConditionedTrace& conditioned, const Ready& at,
                               std::uint64_t record) const;
  TimingMethod method(std::size_t number, const NoiseModel& noise) const;

  LearntChannel channel_;
  std::uint16_t number_ = 0;
  std::vector<std::uint16_t> method_numbers_;
  mutable std::mutex guard_;
  mutable std::map<double, Ready> by_interval_;
};

}  // namespace firstedge
