// PulseTemplate: the mean shape of a channel's pulses on a grid finer than the sample interval.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace firstedge {

/// A pulse shape s(t) with peak 1 (positive going), sampled every interval_s from first_s, shape (size,).
/// Time zero is the shape's reference instant: the crossing of `reference_fraction` of its height on the
/// leading edge, so that a template time and a constant-fraction time of the same fraction agree on the mean
/// shape.
struct PulseTemplate {
  std::string channel;
  double interval_s = 0;
  double first_s = 0;
  double reference_fraction = 0.5;
  std::vector<double> shape;
  std::vector<double> shape_uncertainty;  ///< standard uncertainty of each point, same size
  std::size_t pulses_used = 0;
};

}  // namespace firstedge
