#include "firstedge/stats/running_median.hpp"

#include <bit>
#include <cmath>
#include <limits>

namespace firstedge {
namespace {

// Of the 52 bits of a double's fraction seven are kept; positive doubles rise as their bits do (IEEE Std
// 754).
constexpr unsigned dropped_bits = 52 - 7;

}  // namespace

void RunningMedian::add(double value) {
  if (!(value > 0) || !std::isfinite(value)) return;
  ++counts_[std::bit_cast<std::uint64_t>(value) >> dropped_bits];
  ++count_;
}

double RunningMedian::value() const {
  if (count_ == 0) return std::numeric_limits<double>::quiet_NaN();
  std::uint64_t left = (count_ - 1) / 2;
  for (const auto& [bin, count] : counts_) {
    if (left < count) {
      const std::uint64_t middle = (bin << dropped_bits) + (std::uint64_t{1} << (dropped_bits - 1));
      return std::bit_cast<double>(middle);
    }
    left -= count;
  }
  return std::numeric_limits<double>::quiet_NaN();
}

}  // namespace firstedge
