// Measures of a pulse by the terms of IEEE Std 181 / IEC 60469.
#pragma once

#include <cstddef>
#include <span>

namespace firstedge {

/// All times in seconds from the first sample, all levels in volts; NaN where the waveform does not have the
/// feature.
struct PulseMeasures {
  double low_state_v = 0, high_state_v = 0, amplitude_v = 0;
  double instant_10_s = 0, instant_50_s = 0,
         instant_90_s = 0;                  ///< reference level instants of the first transition
  double transition_duration_s = 0;         ///< 10 % to 90 %
  double second_transition_duration_s = 0;  ///< 90 % back to 10 %
  double pulse_duration_s = 0;              ///< between the 50 % instants
  double overshoot_percent = 0;
  double slew_v_per_s = 0;  ///< steepest, between neighbouring samples
};

struct PulseMeasureOptions {
  std::size_t histogram_bins = 100;
};

/// State levels by the histogram mode of each half (IEEE Std 181-2011, 5.2.1), then the rest by linear
/// interpolation between neighbouring samples. Handles both polarities.
PulseMeasures measure_pulse(std::span<const double> volts, double interval_s,
                            const PulseMeasureOptions& options = {});

/// Charge of a pulse, C: integral of the volts (trapezoidal rule) over the load.
double charge_c(std::span<const double> volts, double interval_s, double load_ohm);

}  // namespace firstedge
