// Line removal: sines of known frequency, fitted where the trace is quiet and carried on under the pulse.
#pragma once

#include "firstedge/core/trace.hpp"

#include <span>
#include <vector>

namespace firstedge {

/// The sines of the frequencies given (Hz) that fit volts best over the quiet window (least squares with a
/// constant, which is not part of the answer), at every sample: shape (samples,). Take it away from volts.
///
/// A frequency of which the window holds less than one period, or that is not between 0 and half the sampling
/// rate, is left out: it is not told from the baseline. So is every one when the window has fewer than three
/// samples a parameter.
///
/// Errors: noise of standard deviation s leaves a sine of standard deviation s sqrt(2/n) in a window of n
/// samples; a frequency off by d moves the phase by 2 pi d T at a distance T from the window's middle. Worth
/// it for a line whose amplitude is over 2 s/sqrt(n). Closed form of the fit: S. Kay, Estimation Theory
/// (1993), ex. 4.2 (from memory).
std::vector<double> fitted_lines(std::span<const double> volts, double interval_s, SampleRange window,
                                 std::span<const double> frequency_hz);

}  // namespace firstedge
