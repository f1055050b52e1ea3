// Stability of a time-error series: the Allan deviation and its kin against averaging time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <string_view>
#include <vector>

namespace firstedge {

/// W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008), sec. 5.2; formulas by the
/// numbers there (from memory). x is the phase, M the number of terms, m the factor, tau = m tau0.
enum class StabilityMeasure : std::uint8_t {
  allan,                 ///< second differences of x at every m-th point
  overlapping_allan,     ///< the same at every point: the best use of the data for the Allan deviation
  modified_allan,        ///< second differences of m-averages of x: tells white from flicker phase noise
  time,                  ///< tau/sqrt 3 times the modified Allan deviation, in s: the spread of a delay
  hadamard,              ///< third differences: blind to a linear frequency drift
  overlapping_hadamard,  ///< the same at every point
  total,           ///< overlapping Allan of x reflected at both ends (SP 1065's form, not bias corrected)
  modified_total,  ///< modified Allan of stretches of 3 m points, each reflected; not bias corrected
  time_total,      ///< tau/sqrt 3 times modified_total, in s
  hadamard_total,  ///< Hadamard of stretches of 3 m frequencies, each reflected; not bias corrected
};

/// "time deviation", "overlapping Allan deviation", ...
std::string_view words_of(StabilityMeasure measure);

/// One deviation at one averaging time.
struct StabilityPoint {
  std::size_t factor = 1;
  double averaging_time_s = 0;
  /// Dimensionless; in s for time and time_total. NaN without a term.
  double deviation = std::numeric_limits<double>::quiet_NaN();
  std::size_t terms = 0;
  /// The share of what the series without gaps would have used: terms, and for the modified and the time
  /// deviation the second differences within them.
  double present = 0;
};

/// The deviation of a time-error series at the averaging time factor * interval_s.
///
/// phase_s: shape (points,), seconds, evenly spaced by interval_s. A gap is a NaN (or anything not finite);
/// gaps at the ends are cut off. A frequency series y becomes phase as its running sum times the interval,
/// with a 0 before it. A constant and a constant frequency offset make no difference; a linear frequency
/// drift makes none to the Hadamard kinds.
///
/// Gaps inside: a term is used only when every point that it needs is there, so that a gap costs terms and
/// biases nothing. A term of the modified and the time deviation is the mean over the second differences
/// that are there, used when at least half of them are (fewest_present); with scattered gaps this raises the
/// variance of white phase noise by 1/present, that of random walks hardly. A stretch of the modified and
/// Hadamard totals with a gap in it is left out.
///
/// Bias: all but the totals are unbiased for the power laws for which they exist. The total variance is too
/// small by the factor 1 - a tau/T over the length T, a = 0, 0.481, 0.75 for white, flicker and random walk
/// frequency noise; the modified total variance by 0.73 and the Hadamard total variance by 0.995 for white
/// frequency noise (both as SP 1065's tables correct them).
///
/// Accuracy: relative rounding below 1e-9 for series whose span is below 1e5 times the deviation times tau.
/// Throws Error for an interval that is not positive and finite, a factor of 0, or a modified or Hadamard
/// total that would take more than most_total_work steps (points times factor). A factor too large for the
/// series gives 0 terms and NaN.
StabilityPoint stability_at(std::span<const double> phase_s, double interval_s, StabilityMeasure measure,
                            std::size_t factor);

/// Second differences that must be there in a term of the modified and the time deviation, as a share.
inline constexpr double fewest_present = 0.5;
inline constexpr double most_total_work = 4e9;

/// How the averaging factors lie: 1, 2, 4, 8 ...; 1, 2, 5, 10, 20 ...; 1, 2, 3 ...
enum class FactorSpacing : std::uint8_t { octave, decade, all };

/// Averaging factors in rising order, up to the largest for which the measure has one term in `points`
/// points, and no more than `most`: where there are more, evenly thinned.
std::vector<std::size_t> averaging_factors(StabilityMeasure measure, std::size_t points,
                                           FactorSpacing spacing, std::size_t most = 1000);

/// The terms of the measure in a series of this many points without gaps; 0 where it is too short.
std::size_t stability_terms(StabilityMeasure measure, std::size_t points, std::size_t factor);

/// The series without its gaps at the ends.
std::span<const double> without_outer_gaps(std::span<const double> phase_s);

}  // namespace firstedge
