// Stamp: the arrival time of a pulse with its standard uncertainty, by one method.
#pragma once

#include "firstedge/core/flags.hpp"

#include <cstdint>
#include <limits>

namespace firstedge {

inline constexpr double not_known = std::numeric_limits<double>::quiet_NaN();

/// One arrival time. Everything that a method cannot know is NaN. Heights, charges and slews are positive for
/// a pulse of either polarity. A pulse that could not be timed has time_s NaN and the flag not_timed: it is
/// kept and counted.
struct Stamp {
  std::uint64_t record = 0;
  std::uint16_t channel = 0;  ///< position in the run's list of channels
  std::uint16_t method = 0;   ///< position in the run's list of methods
  std::uint16_t pulse = 0;    ///< 0 for the first pulse of the trace
  std::int16_t polarity = 1;
  double time_s = not_known;         ///< from the trigger
  double uncertainty_s = not_known;  ///< standard uncertainty from noise, baseline and local shape
  double bound_s = not_known;        ///< Cramer-Rao bound of this pulse's shape, height and noise
  double height_v = not_known;
  double charge_c = not_known;               ///< C over the load resistance
  double slew_v_per_s = not_known;           ///< at the crossing (or the steepest point of the fit)
  double noise_v = not_known;                ///< standard deviation of the noise of one sample
  double transition_duration_s = not_known;  ///< 10 % to 90 %, IEEE Std 181
  double baseline_v = not_known;             ///< level that was taken away
  double goodness = not_known;               ///< chi-square over degrees of freedom of the fit
  FlagSet flags;
};

}  // namespace firstedge
