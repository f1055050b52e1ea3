// Does the trace rest where a pulse stands? Drift, the droop of an AC coupling, the tail or the ringing of an
// earlier pulse move the level from where the baseline was measured.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/signal/conditioned_trace.hpp"

#include <cstddef>

namespace firstedge {

/// The samples in front of a pulse that are looked at, at most.
inline constexpr std::size_t most_resting_samples = 256;

struct RestingLevel {
  bool at_baseline = true;  ///< the level is 0
  bool steady = true;       ///< the level, whatever it is, stands still
};

/// How the trace rests in front of a pulse's region (back to `begin`, where the pulse before it ends),
/// against its noise and the uncertainty of its baseline. The two samples next to the region may hold the
/// pulse's foot and are left out.
///
/// at_baseline: the means of the last 8, 16, 32... samples and of all are 0. steady: the halves of the last
/// 16, 32... and of all have one mean, or differ by no more than a drift does that changes the level by half
/// a standard deviation over the pulse's length; and neither the samples nor the means of eights of them
/// scatter about a straight line more than noise does. Each within 4.5 standard deviations, for Gaussian
/// noise of the model; one of all these is beyond them by chance in 1 of 10,000 cases.
///
/// What it lets pass, in white noise of standard deviation 1, with 256 samples (with 16): a level off by 0.3
/// (1.1), a drift of 0.0045 (0.3) a sample or the harmless one, slow ringing with an amplitude of 0.75 (2.5).
/// Fewer than 8 samples, or a noise of 0: nothing is said against it.
///
/// The scatter has the law of chi-square over its degrees of freedom (as many as give its variance: F. E.
/// Satterthwaite, Biometrics Bull. 2 (1946) 110), made Gaussian by its cube root (E. B. Wilson and M. M.
/// Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684); both from memory.
RestingLevel level_in_front(const ConditionedTrace& trace, const NoiseModel& noise, const Pulse& pulse,
                            std::size_t begin);

}  // namespace firstedge
