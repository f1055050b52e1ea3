// Equivalent degrees of freedom of Allan, Hadamard and total variances.
#pragma once

#include "firstedge/stats/power_law_noise.hpp"
#include "firstedge/stats/stability.hpp"

#include <cstddef>

namespace firstedge {

/// Equivalent degrees of freedom: twice the squared mean over the variance of the estimate of the variance,
/// in a series of this many points without gaps under noise of one power law.
///
/// Allan, modified Allan, time and Hadamard kinds: the sum over the correlations of the terms by C. A.
/// Greenhall and W. J. Riley, Uncertainty of stability variances based on finite differences, Proc. 35th
/// PTTI (2003) 267, taken in full where their paper shortens it (formulas from memory). The
/// model's phase is averaged over the interval; against simulated phase that is sampled they are within 8 %
/// from factor 8 on and up to 30 % off at factors 1 and 2. Beyond factor 512 the kinds that do not average
/// take the paper's limit of great factors for frequency noise (relative error below 3e-3).
///
/// Total: b T/tau - c over the length T, (b, c) = (1.5, 0), (1.168, 0.222), (0.927, 0.358) for white,
/// flicker and random walk frequency noise (C. A. Greenhall, D. A. Howe, D. B. Percival, 1999; SP 1065,
/// table 10; from memory); below factor 8, where it gives too many, no more than the overlapping Allan
/// deviation has. Total under phase noise, and the modified and Hadamard totals: no formula, NaN.
///
/// The steepest noise that a measure bears is random walk frequency noise, and random run frequency noise for
/// the Hadamard kinds; steeper noise is taken as that. NaN where the series has no term. Never below 1.
double degrees_of_freedom(StabilityMeasure measure, PowerLaw noise, std::size_t points, std::size_t factor);

/// The expected total variance over the Allan variance at this factor: 1 - a tau/T, see stability.hpp; 1 for
/// phase noise.
double total_variance_bias(PowerLaw noise, std::size_t points, std::size_t factor);

}  // namespace firstedge
