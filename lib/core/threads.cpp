#include "firstedge/core/threads.hpp"

#include <exception>
#include <mutex>

#include <tbb/global_control.h>
#include <tbb/info.h>
#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

namespace firstedge {

class ThreadLimit::Control {
 public:
  explicit Control(int threads)
      : control_(tbb::global_control::max_allowed_parallelism, static_cast<std::size_t>(threads)) {}

 private:
  tbb::global_control control_;
};

ThreadLimit::ThreadLimit(int threads)
    : threads_(threads > 0 ? threads : tbb::info::default_concurrency()),
      control_(std::make_unique<Control>(threads_)) {}
ThreadLimit::~ThreadLimit() = default;

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
