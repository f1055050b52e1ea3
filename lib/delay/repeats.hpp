// Repeats: one delay measured again and again; its mean, what temperature does to it, and which values are
// out of line.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/result.hpp"

#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

namespace firstedge {

/// One measurement; the temperature is NaN where it was not noted.
struct Repeat {
  double value_s = 0;
  double temperature_c = std::numeric_limits<double>::quiet_NaN();
};

struct RepeatsOptions {
  std::optional<double> reference_c;     ///< temperature that the delay is given for; nothing: the mean
  double temperature_uncertainty_c = 0;  ///< standard uncertainty of the temperature where the delay is used
  double outlier_deviations = 4;         ///< from the middle, in robust standard deviations
};

struct Repeats {
  Estimate delay_s;               ///< at the reference temperature, without the outliers
  Estimate mean_with_outliers_s;  ///< plain mean of all
  Estimate spread_s;              ///< standard deviation of one measurement, without the outliers
  bool temperature_known = false;
  double reference_c = 0;
  Estimate coefficient_s_per_k;
  Estimate coefficient_ppm_per_k;  ///< of the delay at the reference
  double temperature_part_s = 0;   ///< |coefficient| times temperature_uncertainty_c: to be added where used
  std::vector<bool> outlier;       ///< one a measurement
  std::vector<double> residual_s;  ///< from the mean or the line; one a measurement
};

/// Mean, or with temperatures noted for all and spread by more than rounding a straight line against
/// temperature, by unweighted least squares, and the standard deviation of what is left (JCGM 100:2008, 4.2.3
/// and H.3). Degrees of freedom: measurements less outliers less 1, or 2 with a line.
///
/// Outliers: farther than outlier_deviations scaled median deviations from the median (with temperature: from
/// a line refitted without them, until none is added). They are left out of the figures and told, never
/// dropped. A normal sample of 10 loses a good value in one of 30 cases at 4 deviations (simulation,
/// tests/unit/delay).
///
/// Throws Error for fewer than 3 measurements, more than 1,000,000, values that are not finite, a temperature
/// noted for some only, or an outlier limit below 2.
Repeats summarise_repeats(const std::vector<Repeat>& repeats, const RepeatsOptions& options = {});

/// Figures, table "measurements", plot against temperature or in order.
Result analyse_repeats(const std::vector<Repeat>& repeats, const RepeatsOptions& options = {});

}  // namespace firstedge
