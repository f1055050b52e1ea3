// Tally: what came of many timed pulses, against the truth and the bound.
#pragma once

#include "firstedge/core/stamp.hpp"

#include <cmath>
#include <cstddef>

namespace firstedge::test {

/// Errors are time minus truth, in s.
class Tally {
 public:
  void add(const Stamp& stamp, double truth_s, double bound_s) {
    const double error = stamp.time_s - truth_s;
    ++count_;
    sum_ += error;
    squares_ += error * error;
    bounds_ += bound_s * bound_s;
    uncertainties_ += stamp.uncertainty_s * stamp.uncertainty_s;
    within_one_ += std::abs(error) < stamp.uncertainty_s ? 1 : 0;
    within_two_ += std::abs(error) < 2 * stamp.uncertainty_s ? 1 : 0;
  }
  void add(const Tally& other) {
    count_ += other.count_;
    sum_ += other.sum_;
    squares_ += other.squares_;
    bounds_ += other.bounds_;
    uncertainties_ += other.uncertainties_;
    within_one_ += other.within_one_;
    within_two_ += other.within_two_;
  }

  std::size_t count() const { return count_; }
  double bias_s() const { return sum_ / n(); }
  double spread_s() const { return std::sqrt(squares_ / n() - bias_s() * bias_s()); }
  double bias_error_s() const { return spread_s() / std::sqrt(n()); }
  double bound_s() const { return std::sqrt(bounds_ / n()); }
  double uncertainty_s() const { return std::sqrt(uncertainties_ / n()); }
  double within_one() const { return static_cast<double>(within_one_) / n(); }
  double within_two() const { return static_cast<double>(within_two_) / n(); }

 private:
  double n() const { return static_cast<double>(count_); }
  std::size_t count_ = 0, within_one_ = 0, within_two_ = 0;
  double sum_ = 0, squares_ = 0, bounds_ = 0, uncertainties_ = 0;
};

}  // namespace firstedge::test
