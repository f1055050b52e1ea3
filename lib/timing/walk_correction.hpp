// Walk correction: how far a leading edge is early or late for pulses of each height, learnt from the data.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// What tells a pulse's walk. All three grow with the height, and the walk falls with all three.
enum class WalkMeasure {
  height,               ///< V; not for clipped pulses whose height is not known
  time_over_threshold,  ///< s, from the crossing of the level to the return through it; also for clipped
                        ///< pulses
  slew,                 ///< V/s at the crossing; what noise does to it comes back multiplied in the time
};

/// A walk curve, as it is stored. walk_s[i] is how much later than the reference a pulse crosses whose
/// measure (V, s or V/s) has the natural logarithm first_log + i * step_log; uncertainty_s likewise.
/// Invariant: both have the same size, at least 2, and walk_s falls.
struct WalkCorrection {
  WalkMeasure measure = WalkMeasure::height;
  double threshold_v = 0;        ///< the level whose crossing it corrects
  std::size_t edge_samples = 0;  ///< how many samples the slew is taken from
  std::size_t tail_samples = 0;  ///< how many samples the return through the level is taken from
  double first_log = 0, step_log = 0;
  std::vector<double> walk_s, uncertainty_s;
  std::size_t pulses_used = 0;
  double scatter = 0;  ///< of the pulses around the curve, over what their uncertainties say
};

/// One pulse to learn from: its measure, how much later than the reference it crossed the level, and the
/// standard uncertainty of that difference.
struct WalkPoint {
  double measure = 0;
  double walk_s = 0;
  double uncertainty_s = 0;
};

struct WalkOptions {
  std::size_t fewest_pulses = 50;
  int intervals = 24;  ///< of the spline, over the logarithm of the measure
};

/// The smooth falling curve through the points, in place of walk_s of `curve`, whose other members are kept.
///
/// Method: a cubic spline in the logarithm of the measure with a penalty on its second differences (P.
/// Eilers, B. Marx, Statist. Sci. 11 (1996) 89), its weight chosen by generalised cross-validation; falling
/// by a large penalty on what rises (K. Bollaerts, P. Eilers, I. van Mechelen, Statist. Med. 25 (2006) 1451);
/// robust by Tukey's biweight at 4.685 of the median scatter (P. Huber, Robust Statistics (1981), 7.8); all
/// from memory. Points weigh by 1 over their variance. The uncertainty is that of the spline's coefficients,
/// times the scatter of the points over their uncertainties where that is above 1.
///
/// Errors: with 500 pulses over heights 1:20, 60 to 1200 times the noise, the curve is within 1 ps of the
/// truth on average and 5 ps everywhere (tests/unit/timing). Points beyond the last few at either end do not
/// fix it. Throws Error for fewer than fewest_pulses usable points or a measure that is the same for all.
WalkCorrection with_walk(const WalkCorrection& curve, std::span<const WalkPoint> points,
                         const WalkOptions& options = {});

/// The walk at a measure, its change with the logarithm of the measure, and its standard uncertainty. Beyond
/// the ends of the curve it goes on straight, and what is so added counts as uncertainty too. NaN for a
/// measure that is not over 0.
struct Walk {
  double value_s = 0;
  double per_log_s = 0;
  double uncertainty_s = 0;
};
Walk walk_at(const WalkCorrection& correction, double measure);

}  // namespace firstedge
