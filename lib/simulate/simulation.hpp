// Simulated runs: sensor, amplifier band, cable, digitizer, noise colours, heights, pile-up, pick-up ->
// traces and truth.
#pragma once

#include "firstedge/core/record.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/simulate/chain_shape.hpp"
#include "firstedge/simulate/noise_source.hpp"
#include "firstedge/simulate/plan.hpp"

#include <cstdint>
#include <vector>

namespace firstedge {

/// Records and what is true of them. A true Stamp holds the time at which the noiseless pulse crosses half of
/// its height (uncertainty 0), its height, and the flags clipped and piled_up where they hold.
struct SimulatedBlock {
  RecordBlock block;
  std::vector<Stamp> truth;
};

/// A run that can be asked for any stretch of its records: record k is the same whatever was asked before,
/// because each has a random engine of its own (std::mt19937_64 seeded from seed and k, distributions of
/// Boost.Random). The counts are the same on every machine up to a sample in some 10^12, where the last bit
/// of a library's sine or exponential decides a rounding. Sampling jitter comes from engines of its own: it
/// changes nothing else of a run, truth included.
class Simulation {
 public:
  explicit Simulation(const SimulationPlan& plan);

  const SimulationPlan& plan() const { return plan_; }
  SimulatedBlock records(std::uint64_t first, std::size_t count) const;
  /// The noiseless shape of a channel, for tests and bounds.
  const ChainShape& shape(std::size_t channel) const { return channels_.at(channel).shape; }
  const NoiseSource& noise(std::size_t channel) const { return channels_.at(channel).noise; }

 private:
  struct Channel {
    ChainShape shape;
    NoiseSource noise;
    double reference_s = 0;  // of the half-height crossing, from the passage
  };
  SimulationPlan plan_;
  std::vector<Channel> channels_;
};

}  // namespace firstedge
