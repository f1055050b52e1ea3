// Pulse splitting: a pulse of a group taken for two, as a start for fitting both.
#pragma once

#include "firstedge/timing/group_samples.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// The group with one of its pulses, `split`, taken for two of the same polarity: the two places on a grid
/// that leave the least chi-square when heights and level are free and the other pulses may move a little.
/// The first of the two stands within two transition durations of `split` as it was fitted (and takes its
/// place in what is returned), the second after it up to last_samples (and stands at the end). Nothing when
/// no two heights over 0 do. The grid has a step of an eighth of a transition duration, at least a quarter of
/// a sample, and at most 400 steps.
std::optional<std::vector<GroupMember>> taken_for_two(const TemplateColumns& columns,
                                                      const PulseSamples& samples,
                                                      std::span<const GroupMember> fitted, std::size_t split,
                                                      double first_samples, double last_samples);

}  // namespace firstedge
