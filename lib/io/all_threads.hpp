// Work shared out to all threads, within a reader or before a run.
#pragma once

#include <cstddef>
#include <functional>

namespace firstedge {

/// Calls call(0) to call(count - 1) by all threads at once and comes back when all are done. The calling
/// thread begins nothing else meanwhile, so that a read is not held up by the work that waits for it. Where
/// calls throw, all others are made all the same, and the exception of the lowest number is thrown.
void by_all_threads(std::size_t count, const std::function<void(std::size_t)>& call);

}  // namespace firstedge
