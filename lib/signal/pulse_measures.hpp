// Measures of a pulse by the terms of IEEE Std 181 / IEC 60469.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <utility>

namespace firstedge {

/// All times in seconds from the first sample, all levels in volts; NaN where the waveform does not have the
/// feature.
struct PulseMeasures {
  double low_state_v = 0, high_state_v = 0;
  double amplitude_v = 0;  ///< high - low, positive for either polarity
  int polarity = 1;  ///< +1: the first transition rises from the low state; -1: it falls from the high one
  /// Reference level instants of the first transition, at the lower, 50 % and upper reference level:
  /// per cent of the way from its first state to its second.
  double instant_lower_s = 0, instant_middle_s = 0, instant_upper_s = 0;
  double transition_duration_s = 0;         ///< lower to upper level
  double second_transition_duration_s = 0;  ///< upper back to lower level
  double pulse_duration_s = 0;              ///< between the 50 % instants
  double overshoot_percent =
      0;                    ///< of the amplitude: the extreme after the first transition, beyond its state
  double slew_v_per_s = 0;  ///< steepest of the first transition, between neighbouring samples, positive
};

struct PulseMeasureOptions {
  std::size_t histogram_bins = 100;  ///< 2 or more
  double lower_percent = 10,
         upper_percent = 90;  ///< reference levels, 0 < lower < 50 < upper < 100 (or 20, 80)
  /// Low and high state, where they are known better than the histogram can tell.
  std::optional<std::pair<double, double>> states_v;
};

/// State levels by the histogram of each half (IEEE Std 181-2011, 5.2.1), then the rest by linear
/// interpolation between neighbouring samples. Handles both polarities, steps and pulses.
///
/// Histogram: the range from the least to the greatest sample in histogram_bins equal bins; the lower half
/// gives the low state and the upper half the high one. The standard leaves ties and the place within a bin
/// open; here a state is the mean of the samples in its half's fullest bin, and of equally full bins the one
/// nearest to the end of the range. A short pulse rests nowhere: where no bin holds four samples, the bin at
/// the end of the range, with the peak in it, is the state. The lower instant is the last crossing of its
/// level before the first crossing of 50 %, the upper one the first crossing of its level after it.
///
/// Errors: instants by linear interpolation are wrong by up to h^2/8 * |v''/v'| for the sample interval h; a
/// state by up to one bin where the waveform does not rest in it. Fewer than 2 samples, samples that are not
/// finite, or a constant: amplitude 0 and NaN elsewhere.
PulseMeasures measure_pulse(std::span<const double> volts, double interval_s,
                            const PulseMeasureOptions& options = {});

/// Charge of a pulse, C: integral of the volts (trapezoidal rule) over the load. NaN for a load that is not
/// positive; 0 for fewer than 2 samples.
double charge_c(std::span<const double> volts, double interval_s, double load_ohm);

}  // namespace firstedge
