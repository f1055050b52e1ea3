// Recursive filters over several traces side by side: a recursion waits for its last result, so that one
// trace alone leaves the processor idle for most of the time.
#pragma once

#include "firstedge/signal/filter.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// How many traces stand side by side.
inline constexpr std::size_t traces_side_by_side = 8;

/// Samples of traces_side_by_side traces: sample i of trace k stands at i * traces_side_by_side + k.
using SideBySide = std::vector<double>;

/// One pass of every trace through all sections, in place, each section settled on its first sample (direct
/// form II transposed). backwards: from the last sample to the first. Every trace has the bits that it has
/// alone (tests/unit/signal).
void run_sections_side_by_side(const std::vector<FilterSection>& sections, SideBySide& samples,
                               bool backwards);

}  // namespace firstedge
