// Sums of squares of the total deviations, and the sum that all stability measures are made of. For
// stability.cpp.
#pragma once

#include <cmath>
#include <cstddef>
#include <span>

namespace firstedge {

/// Squares of the terms of a variance. present is in terms: below `possible` where gaps took terms away or
/// parts of them.
struct StabilitySum {
  double squares = 0, present = 0;
  std::size_t terms = 0, possible = 0;

  /// A term that is NaN (a gap in it) counts as possible only.
  void add(double term) {
    ++possible;
    if (!std::isfinite(term)) return;
    squares += term * term;
    ++terms;
    ++present;
  }
};

/// Second differences of the phase around each inner point, the series reflected through its end points
/// (SP 1065, eq. for Totvar; C. A. Greenhall, D. A. Howe, D. B. Percival, IEEE Trans. UFFC 46 (1999) 1183).
/// factor < size of phase; fewer than 3 points give no term.
StabilitySum total_sum(std::span<const double> phase, std::size_t factor);

/// Each term is the root of the mean square over the 6 m second differences of m-averages of 3 m phase
/// points that have lost their slope (half-average) and are reflected in time at both ends (D. A. Howe,
/// F. Vernotte, Proc. 31st PTTI (1999) 267; from memory).
StabilitySum modified_total_sum(std::span<const double> phase, std::size_t factor);

/// The same of 3 m first differences of the phase in place of phase points; terms carry the unit of phase, as
/// those of the other sums (D. A. Howe et al., Proc. EFTF/IFCS 2005; from memory).
StabilitySum hadamard_total_sum(std::span<const double> phase, std::size_t factor);

}  // namespace firstedge
