// Delay by cross-correlation: where two mean traces are most alike.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/delay/pair_average.hpp"

namespace firstedge {

/// How much later `after` is than `before`.
struct CorrelationDelay {
  Estimate delay_s;        ///< NaN where no trace holds a signal
  double coefficient = 0;  ///< of the peak: 1 for equal shapes, negative for inverted ones
  double next_lobe = 0;    ///< the next highest lobe over the highest, 0 to 1
  bool ambiguous = false;  ///< the next lobe is as high within three standard deviations of the noise
};

/// The peak of the cross-correlation, its curve between the lags the band-limited one (the trigonometric
/// polynomial of the cross-spectrum), not a parabola, which is off by up to 0.12 sample on a sinc: without
/// noise, and with all of both signals in the records, exact to rounding (1e-6 sample) for a pure delay.
/// Transforms are padded, so that nothing goes round.
///
/// Frequencies are weighed by signal_band() of `before`, so that noise beside the pulse's band does no harm.
///
/// Uncertainty: noise of both means to first order, and its square, through the slope of the curve over its
/// curvature. For flat band-limited signals in white noise it is that of the bound 3/(8 pi^2 T (f2^3 - f1^3))
/// (1 + 2 SNR)/SNR^2 (C. H. Knapp and G. C. Carter, IEEE Trans. ASSP-24 (1976) 320; limits in A. H. Quazi,
/// ibid. 29 (1981) 527; from memory). It knows of one lobe only: where `ambiguous`, the delay may be off by a
/// whole lobe (E. Weinstein and A. J. Weiss, IEEE Trans. ASSP-32 (1984) 1064).
///
/// What it means: the delay at which a matched receiver of the pulse before would time the pulse after. A
/// lossy line reads later than its bulk delay by an amount that depends on the pulse.
///
/// Both must have one interval and size (assert).
CorrelationDelay correlation_delay(const MeanTrace& before, const MeanTrace& after);

}  // namespace firstedge
