// The threads of the process: how many work at once, and work shared out to all of them.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <type_traits>
#include <vector>

namespace firstedge {

/// How many threads all work of this process may take, while it lives.
class ThreadLimit {
 public:
  /// 0: as many as the machine has.
  explicit ThreadLimit(int threads);
  ~ThreadLimit();
  ThreadLimit(const ThreadLimit&) = delete;
  ThreadLimit& operator=(const ThreadLimit&) = delete;

  int threads() const { return threads_; }

 private:
  class Control;
  int threads_;
  std::unique_ptr<Control> control_;
};

/// Calls call(0) to call(count - 1) by all threads at once and comes back when all are done. The calling
/// thread begins nothing else meanwhile, so that a read is not held up by the work that waits for it. Where
/// calls throw, all others are made all the same, and the exception of the lowest number is thrown.
void by_all_threads(std::size_t count, const std::function<void(std::size_t)>& call);

/// What make(0) to make(count - 1) return, in order, by all threads. Not for bool, whose places share bytes.
template <class Make>
auto made_by_all_threads(std::size_t count, Make&& make) {
  std::vector<std::decay_t<decltype(make(count))>> results(count);
  by_all_threads(count, [&](std::size_t i) { results[i] = make(i); });
  return results;
}

}  // namespace firstedge
