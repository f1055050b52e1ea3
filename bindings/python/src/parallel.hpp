// Work on many traces at once, in as many threads as asked for.
#pragma once

#include <cstddef>

#include <tbb/blocked_range.h>
#include <tbb/info.h>
#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

namespace firstedge::python {

/// work(i) for each i below size, threads at a time (0: as many as the machine has). What work throws comes
/// out. Call it without the interpreter's lock.
template <class Work>
void for_each_index(std::size_t size, int threads, const Work& work) {
  if (size == 1) {
    work(std::size_t{0});
    return;
  }
  tbb::task_arena arena(threads > 0 ? threads : tbb::info::default_concurrency());
  arena.execute([&] {
    tbb::parallel_for(tbb::blocked_range<std::size_t>(0, size),
                      [&](const tbb::blocked_range<std::size_t>& some) {
                        for (std::size_t i = some.begin(); i != some.end(); ++i) work(i);
                      });
  });
}

}  // namespace firstedge::python
