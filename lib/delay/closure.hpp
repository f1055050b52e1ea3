// Closure: measured differences tied together, so that unknown offsets drop out and loops show what is wrong.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/result.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace firstedge {

/// first - second + offset was measured, each a delay or a clock by name. offset names an unknown that
/// several measurements share, such as the difference of two digitizer channels; "" for none.
struct MeasuredDifference {
  std::string first, second, offset;
  Estimate difference_s;
};

/// Two measurements with the things exchanged: ahead = (A - B) + offset, exchanged = (B - A) + offset.
struct Swap {
  Estimate difference_s;  ///< A - B: half of their difference, the offset cancelled
  Estimate offset_s;      ///< half of their sum
};
Swap swap_of(const Estimate& ahead, const Estimate& exchanged);

/// A measurement that the ones before it already determine, and how far it lies from what they say.
struct Misclosure {
  std::size_t closing = 0;           ///< the measurement that closes the loop
  std::vector<std::size_t> through;  ///< the others in the loop
  Estimate misclosure_s;             ///< measured less determined
};

struct ClosureResidual {
  double residual_s = 0;   ///< measured less adjusted
  double deviation_s = 0;  ///< its own standard deviation; 0 where no other measurement checks it
  double normalised = 0;   ///< residual over deviation; NaN where no other measurement checks it
};

struct Closure {
  std::vector<std::string> names;  ///< of everything measured, in order of appearance
  std::vector<Estimate> values_s;  ///< against the reference, whose own is 0
  std::vector<std::string> offsets;
  std::vector<Estimate> offset_values_s;
  std::vector<Misclosure> loops;
  std::vector<ClosureResidual> residuals;  ///< one a measurement
  double chi_square = 0, degrees_of_freedom = 0, probability = 1;
};

/// Least squares weighted by 1/u^2 over all measurements, taken as independent; the reference is 0 (the first
/// name where "" is given). Loops: measurements in their order, each that the ones before determine closes
/// one; their misclosures are not independent of each other where loops share measurements. Normalised
/// residuals above 3 point at a wrong measurement (W. Baarda, A testing procedure for use in geodetic
/// networks (1968); from memory); the largest is the one to look at. Accuracy: rounding below 1e-10 of the
/// values. Throws Error for none or more than 1,000 measurements, one without a finite value and a positive
/// uncertainty, an unknown reference, and unknowns that the measurements do not tie to the reference, by
/// name.
Closure close_network(const std::vector<MeasuredDifference>& measured, const std::string& reference = "");

/// Figures, tables "values", "offsets", "loops" and "residuals", and where a measurement checks another the
/// plot "residuals": one point a measurement in their order, with an interval of two of its standard
/// deviations.
Result analyse_closure(const std::vector<MeasuredDifference>& measured, const std::string& reference = "");

}  // namespace firstedge
