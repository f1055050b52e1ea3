#include "firstedge/batch/thread_limit.hpp"

#include <tbb/global_control.h>
#include <tbb/info.h>

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

}  // namespace firstedge
