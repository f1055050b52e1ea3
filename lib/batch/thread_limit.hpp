// ThreadLimit: how many threads all work of this process may take.
#pragma once

#include <memory>

namespace firstedge {

/// Holds while it lives.
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

}  // namespace firstedge
