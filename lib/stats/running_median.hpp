// RunningMedian: the median of a stream of positive numbers, in memory that does not grow with it.
#pragma once

#include <cstdint>
#include <map>

namespace firstedge {

/// Counts in bins that are a 128th of a power of two wide: the middle of the bin that holds the median lies
/// within 0.4 % of it. The same numbers give the same median in any order.
class RunningMedian {
 public:
  /// Numbers that are not positive and finite are left out.
  void add(double value);
  std::uint64_t count() const { return count_; }
  /// The lower of the two middle ones of an even number; NaN of none.
  double value() const;

 private:
  std::map<std::uint64_t, std::uint64_t> counts_;  // by the leading bits of the numbers
  std::uint64_t count_ = 0;
};

/// The middle of a bin over its lower edge is at most this, less 1.
inline constexpr double running_median_error = 1.0 / 256;

}  // namespace firstedge
