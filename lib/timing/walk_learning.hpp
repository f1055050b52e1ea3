// Walk learning: the walk curve of a leading edge from pulses that another method has timed as well.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/timing/leading_edge.hpp"
#include "firstedge/timing/template_building.hpp"
#include "firstedge/timing/walk_correction.hpp"

#include <span>

namespace firstedge {

/// Learns how much later than the reference a leading edge with these options crosses. reference: a stamp of
/// each pulse, shape as pulses, by a method that does not walk (template fit, constant fraction); its instant
/// on the pulse becomes that of the corrected times. No second channel is needed: what the noise of a pulse
/// does to its reference is averaged out over the pulses.
///
/// Method: the walk and the measure are each fitted by the reference's height (falling_curve.hpp), which
/// carries the least noise, and then put together: fitted against a noisy measure the walk would come out too
/// flat (regression dilution; W. Fuller, Measurement Error Models (1987), 1.1, from memory), by tens of
/// picoseconds for the slew.
///
/// Pulses used: no flag on leading edge or reference (but clipped, where the measure does not need the
/// height). The samples that slew and tail are taken from are set once, from the median edge and the median
/// time over threshold. Throws Error as falling_curve() does.
WalkCorrection learn_walk(std::span<const PulseInTrace> pulses, std::span<const Stamp> reference,
                          const NoiseModel& noise, const LeadingEdgeOptions& edge, WalkMeasure measure,
                          const FallingCurveOptions& options = {});

}  // namespace firstedge
