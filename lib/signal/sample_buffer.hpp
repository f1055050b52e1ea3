// SampleBuffer: a copy of some samples to work on, without asking for memory where they are not many.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// Up to `most_inside` values stand in the object itself (8 kB: on the stack), more on the heap.
class SampleBuffer {
 public:
  static constexpr std::size_t most_inside = 1024;

  explicit SampleBuffer(std::span<const double> from) : size_(from.size()) {
    if (size_ > most_inside) outside_.resize(size_);
    std::copy(from.begin(), from.end(), values().begin());
  }
  SampleBuffer(const SampleBuffer&) = delete;
  SampleBuffer& operator=(const SampleBuffer&) = delete;

  std::span<double> values() { return {size_ > most_inside ? outside_.data() : inside_.data(), size_}; }
  std::span<const double> values() const {
    return {size_ > most_inside ? outside_.data() : inside_.data(), size_};
  }

 private:
  std::size_t size_;
  std::array<double, most_inside> inside_;  // as many as are used have a value
  std::vector<double> outside_;
};

}  // namespace firstedge
