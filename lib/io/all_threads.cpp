#include "firstedge/io/all_threads.hpp"

#include <exception>
#include <mutex>

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

namespace firstedge {

void by_all_threads(std::size_t count, const std::function<void(std::size_t)>& call) {
  std::mutex guard;
  std::exception_ptr first;
  std::size_t of = count;
  const auto keep_first = [&](std::size_t i) {
    try {
      call(i);
    } catch (...) {
      const std::scoped_lock lock(guard);
      if (i >= of) return;
      of = i;
      first = std::current_exception();
    }
  };
  tbb::this_task_arena::isolate([&] { tbb::parallel_for(std::size_t{0}, count, keep_first); });
  if (first) std::rethrow_exception(first);
}

}  // namespace firstedge
