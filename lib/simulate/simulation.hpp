// Simulated runs: sensor, amplifier band, cable, digitizer, noise colours, heights, pile-up, pick-up ->
// traces and truth.
#pragma once

#include "firstedge/core/record.hpp"
#include "firstedge/core/settings.hpp"

#include <cstdint>
#include <string>
#include <vector>

namespace firstedge {

/// The true arrival of one simulated pulse.
struct TruePulse {
  std::uint64_t record = 0;
  std::uint16_t channel = 0;
  std::uint16_t pulse = 0;
  double time_s = 0;  ///< of the shape's reference instant, from the trigger
  double height_v = 0;
  bool clipped = false;
};

}  // namespace firstedge
