// Electronics: what the time of a pulse owes to noise, rounding and sampling, by the channel's shape and
// method, and what it would owe if the bench were another.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/settings.hpp"

#include <span>

namespace firstedge {

/// One channel as its times see it. noise is that of the samples without the rounding to counts.
struct Electronics {
  PulseTemplate pulse_template;
  NoiseModel noise;
  double step_v = 0;                  ///< one count, 0 when not quantised
  double baseline_uncertainty_v = 0;  ///< from record to record, root mean square
  Settings timing;                    ///< the method: timing/methods.hpp
};

/// The channel's electronics from what was learnt: the measured noise holds step_v^2/12 of rounding (JCGM
/// 100:2008, 4.3.7), which is taken out here; what is left is at least a hundredth of the measured variance
/// and positive definite.
Electronics electronics_of(const PulseTemplate& pulse_template, const NoiseModel& measured, double step_v,
                           double baseline_uncertainty_v, const Settings& timing);

/// Noise with the rounding back in, as a digitizer delivers it.
NoiseModel with_rounding(const NoiseModel& noise, double step_v);

/// Variances (s^2) of the times of pulses of the heights given, mean over the heights and over sixteen places
/// of the pulse between two samples. NaN when the method times none of them.
struct ElectronicVariance {
  double noise_s2 = 0;  ///< noise through the method: its stated variance at the template, baseline included
  double rounding_s2 = 0;  ///< what rounding to counts adds to it
  double sampling_s2 = 0;  ///< of the time of the noiseless template moved between the samples
  double bound_s = 0;      ///< Cramer-Rao bound, root mean square over the heights
};

/// Computed on the template without noise: the stated variance with the noise model, less what is stated with
/// a thousandth of the noise (the curve's own error), so that nothing is counted twice. Rounding: the stated
/// variance with it less that without it, true as long as the noise is at least half a step. Holds to first
/// order (noise small against the height). Throws Error as make_timing_method does.
ElectronicVariance electronic_variance(const Electronics& electronics, std::span<const double> heights_v);

// Another bench. Noise is split into a floor that is white (the least density of the model) and the rest,
// which has a band.

/// Noise amplitude times `factor`, baseline included.
Electronics with_noise(Electronics electronics, double factor);
/// `bits` more bits over the same range.
Electronics with_more_bits(Electronics electronics, int bits);
/// Samples `factor` times closer: the floor keeps its variance a sample (common practice, no source: noise of
/// the digitizer), the rest keeps its density. The baseline keeps its uncertainty.
Electronics with_faster_sampling(Electronics electronics, double factor);
/// A band `factor` times as wide: the shape before the peak runs that much faster, the tail stays; the floor
/// stays, the rest keeps its density over a band that much wider. Where it fails: an edge that the sensor
/// makes, not the band, does not follow.
Electronics with_bandwidth(Electronics electronics, double factor);

}  // namespace firstedge
