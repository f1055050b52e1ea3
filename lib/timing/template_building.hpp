// Building a pulse template: many pulses aligned onto a grid finer than the sample interval.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/signal/conditioned_trace.hpp"

#include <span>
#include <vector>

namespace firstedge {

struct TemplateBuildingOptions {
  int points_per_sample = 8;
  int rounds = 6;  ///< of aligning and averaging
  double reference_fraction = 0.5;
  double lowest_height_over_noise = 10;
  std::size_t fewest_pulses = 20;
};

/// One pulse and the trace it stands in.
struct PulseInTrace {
  const ConditionedTrace* trace = nullptr;
  Pulse pulse;
};

/// Aligns unflagged pulses by height, time and baseline, round after round. Throws Error when fewer than
/// fewest_pulses fit.
PulseTemplate build_template(std::span<const PulseInTrace> pulses, const NoiseModel& noise,
                             const TemplateBuildingOptions& options = {});

}  // namespace firstedge
