// Sorting samples: by where they stand in their range, which noise fills evenly enough.
#pragma once

#include <vector>

namespace firstedge {

/// Sorts finite values in rising order, as std::sort does, but for some hundreds of samples of noise several
/// times as fast: they are put into bins over their range first, and compared only with their neighbours.
void sort_samples(std::vector<double>& values);

}  // namespace firstedge
