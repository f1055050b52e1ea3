// Pulse height: the peak of a smooth curve through the samples around it, not the largest sample.
#pragma once

#include "firstedge/core/trace.hpp"
#include "firstedge/timing/crossing_weights.hpp"

#include <cstddef>
#include <span>

namespace firstedge {

/// A height (V) and, to first order, how it hangs on the samples.
struct PeakHeight {
  double value_v = 0;
  SampleWeights weights;
};

/// The height of the pulse whose largest sample is `peak`. volts (shape (samples,)) are positive going; only
/// samples of `within` are used. edge_samples: how many samples its edge has from 10 % to 90 % (NaN if not
/// known); noise: of the samples.
///
/// The largest sample is a poor height: it hangs on where the samples fell (up to 2 % low at four samples an
/// edge) and noise picks it (up to 1 standard deviation high). So the peak is placed by a cubic through about
/// 1.5 edge lengths of samples, where it is hardly moved by noise, and the height is read there from a
/// quartic through about 0.9 edge lengths (seven samples at least), which follows the shape
/// closely. The step from the place to the quartic's own peak is made to second order, and what noise adds to
/// that step on average is taken out.
///
/// A top that is flat within the noise over more than three edge lengths has its mean as height (the state
/// level of IEEE Std 181), without the samples at its ends.
///
/// Errors (tests/unit/timing): without noise 3e-3 of the height at four samples an edge and 1e-4 at twenty,
/// for smooth pulses; noise moves the mean by less than 0.1 standard deviations of a sample for heights of 15
/// and more. A peak at the end of the stretch or a stretch too short for a fit gives the largest sample.
PeakHeight peak_height(std::span<const double> volts, const SampleRange& within, std::size_t peak,
                       double edge_samples, const SampleNoise& noise);

}  // namespace firstedge
