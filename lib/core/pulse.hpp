// Pulse: a stretch of a trace that holds one signal.
#pragma once

#include "firstedge/core/flags.hpp"
#include "firstedge/core/trace.hpp"

namespace firstedge {

/// One signal in a conditioned trace. Heights and charges are positive; polarity says which way the pulse
/// went.
struct Pulse {
  SampleRange region;    ///< samples from the start of the leading edge to the return to the baseline
  std::size_t peak = 0;  ///< sample of the extreme value, inside region
  int polarity = 1;      ///< +1 or -1
  double height_v = 0;   ///< of the extreme sample over the baseline
  double charge_c = 0;   ///< integral over region divided by the load resistance; NaN without a load
  FlagSet flags;
};

}  // namespace firstedge
