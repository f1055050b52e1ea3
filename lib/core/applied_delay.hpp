// AppliedDelay: what was taken out of a channel's stamps, and what that delay rests on.
#pragma once

#include "firstedge/core/chain.hpp"

#include <cstdint>
#include <limits>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// One quantity that a delay rests on, to first order: the delay changes by `sensitivity` times the input.
struct DelayTerm {
  std::string name;  ///< the element's, or "temperature"
  std::string unit = "s";
  Estimate input;
  double sensitivity = 1;  ///< s per unit
  Distribution distribution = Distribution::normal;
  Evaluation evaluation = Evaluation::type_b;
  std::string measured;  ///< date and method, for people

  /// |sensitivity| u, s.
  double contribution_s() const;
};

/// The delay taken out of the stamps of one channel over a stretch of records; the time before is the time
/// after plus delay_s.
struct AppliedDelay {
  std::string channel;
  std::uint64_t first_record = 0;
  std::uint64_t last_record = std::numeric_limits<std::uint64_t>::max();  ///< itself included
  double delay_s = 0;
  bool doubtful = false;  ///< no valid calibration: the stamps carry the flag calibration_expired
  std::vector<DelayTerm> terms;
};

/// Whether two terms are one and the same quantity: the same name, figures, distribution and date. Two things
/// of one name with different figures are two things.
bool is_same_quantity(const DelayTerm& a, const DelayTerm& b);

/// The terms of the first delay less the second: a quantity that both rest on stands once, with the
/// difference of its sensitivities (0 where it cancels). Order: that of the first, then what only the second
/// has.
std::vector<DelayTerm> difference_of(std::span<const DelayTerm> first, std::span<const DelayTerm> second);

/// The terms of the sum of both.
std::vector<DelayTerm> sum_of(std::span<const DelayTerm> first, std::span<const DelayTerm> second);

}  // namespace firstedge
