// Pulse height: the peak of a smooth curve through the samples around it, not the largest sample.
#pragma once

#include "firstedge/timing/crossing_weights.hpp"

#include <cstddef>
#include <span>

namespace firstedge {

/// A height (V) and the weights by which it hangs on the samples.
struct PeakHeight {
  double value_v = 0;
  SampleWeights weights;
};

/// The height of the pulse whose largest sample is `peak`; volts (shape (samples,)) are positive going.
PeakHeight peak_height(std::span<const double> volts, std::size_t peak);

}  // namespace firstedge
