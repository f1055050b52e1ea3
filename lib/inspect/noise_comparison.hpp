// Noise compared: between the channels of a run (what they share), and between two runs (what a shield does).
#pragma once

#include "firstedge/core/record.hpp"
#include "firstedge/core/result.hpp"
#include "firstedge/inspect/channel_look.hpp"
#include "firstedge/inspect/inspect.hpp"
#include "firstedge/signal/coherence.hpp"

#include <deque>
#include <utility>
#include <vector>

namespace firstedge {

/// Coherence of the quiet stretches of each two of the first eight channels.
class SharedNoise {
 public:
  explicit SharedNoise(const std::deque<ChannelLook>& looks);
  /// Right after the looks have had the same record. At most 500 records count.
  void add(const Record& record, const std::deque<ChannelLook>& looks);
  /// Lines that two channels share; no rows if there are none.
  Table table(const std::deque<ChannelLook>& looks) const;

 private:
  struct Pair {
    std::size_t first = 0, second = 0;
    CoherenceAverage average;
  };
  std::vector<Pair> pairs_;
  std::size_t records_ = 0;
};

/// Looks at the run options.against with the same Setup and adds tables and a plot to the result; channels
/// that the other run does not have are warnings. Throws Error as inspect_run does.
void compare_noise(const std::deque<ChannelLook>& looks, const InspectOptions& options, const Setup& setup,
                   Result& result);

}  // namespace firstedge
