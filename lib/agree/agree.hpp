// Agree: whether two stations have the same time, as a Result.
#pragma once

#include "firstedge/agree/combination_of_ways.hpp"
#include "firstedge/agree/comparison.hpp"
#include "firstedge/core/result.hpp"

#include <vector>

namespace firstedge {

/// What is compared: independent ways, and ways that cross their channels. The crossings are used to tell
/// which chain is off, and for nothing else, since they repeat the readings of the ways.
struct Agreement {
  std::vector<Way> ways, crossings;
};

/// Figures: the combined offset, offset and E_n of each way, and (from two ways on) the Birge ratio of the
/// ways. Tables: "verdict" (one row, whose first cell is "agree" or "do not agree"), "ways", "uncertainties",
/// "matching", a budget each, "differences", "combination", "suspects" (where something is off),
/// "dependences", "methods", "course". Plots: the differences in time and their distribution. The answer says
/// in one line whether the stations agree, and else what is most likely wrong. Throws Error as compare_way,
/// and for no way.
Result analyse_agreement(const Agreement& agreement, const CompareOptions& options);

}  // namespace firstedge
