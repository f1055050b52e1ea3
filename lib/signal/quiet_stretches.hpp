// Where a trace is quiet: the stretches without pulses, found without knowing the pulses. Used by the
// baseline; not meant for other rooms.
#pragma once

#include "firstedge/core/trace.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

inline constexpr std::size_t fewest_quiet_samples = 8;

/// A sample that stands this many standard deviations from the level belongs to a pulse, and so do its
/// neighbours that stand more than foot_deviations from it, and a few beyond.
inline constexpr double seed_deviations = 6;
inline constexpr double foot_deviations = 2;

/// The runs of samples that belong to pulses (or are clipped), in order, apart from each other. values: all
/// finite.
std::vector<SampleRange> disturbed_ranges(std::span<const double> values, double centre, double deviation,
                                          std::span<const SampleRange> clipped);

/// What is left of [0, size) between the ranges given, in order.
std::vector<SampleRange> between(std::span<const SampleRange> ranges, std::size_t size);

/// The noise of the quiet part of a trace: the lower quartile of the standard deviations of its blocks (a
/// sixteenth of the trace each, 8 to 64 samples). 0 for fewer than 8 samples.
double quiet_deviation(std::span<const double> values);

/// The stretch from the first sample to the foot of the first pulse; nothing if the record does not start
/// quietly.
std::optional<SampleRange> quiet_start(std::span<const double> values, double step,
                                       std::span<const SampleRange> clipped);

/// The stretch that a baseline is best taken from; nothing if there is none of fewest_quiet_samples.
std::optional<SampleRange> best_quiet_stretch(std::span<const double> values, double step,
                                              std::span<const SampleRange> clipped);

}  // namespace firstedge
