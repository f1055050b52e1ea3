// Long runs that Ctrl-C ends, and that tell a Python function how far they are.
#pragma once

#include "bindings.hpp"

#include <atomic>
#include <chrono>
#include <cstdint>
#include <future>
#include <optional>

namespace firstedge::python {

/// Thrown through a run that the person at the keyboard has interrupted.
struct Interrupted {};

/// Runs work(progress) beside the interpreter, which meanwhile looks after Ctrl-C. progress(records, share)
/// hands on to the Python function, if there is one, and ends the run when it was interrupted.
template <class Work>
auto interruptible(const py::object& told, Work&& work) {
  std::atomic<bool> stop = false;
  const bool tells = !told.is_none();
  const auto progress = [&](std::uint64_t records, std::optional<double> share) {
    if (stop) throw Interrupted{};
    if (!tells) return;
    const py::gil_scoped_acquire locked;
    told(records, share);
  };
  auto done = std::async(std::launch::async, [&] { return work(progress); });
  constexpr auto between_looks = std::chrono::milliseconds(50);
  for (;;) {
    const bool ready =
        without_lock([&] { return done.wait_for(between_looks) == std::future_status::ready; });
    if (ready) break;
    if (!stop && PyErr_CheckSignals() != 0) stop = true;
    if (stop) {
      py::error_already_set interruption;
      without_lock([&] { done.wait(); });
      throw interruption;
    }
  }
  return done.get();
}

}  // namespace firstedge::python
