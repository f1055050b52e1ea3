// Does the trace rest where a pulse stands? Drift, the droop of an AC coupling, the tail or the ringing of an
// earlier pulse move the level from where the baseline was measured.
#pragma once

#include "firstedge/core/pulse.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/timing/channel_noise.hpp"

#include <array>
#include <cstddef>
#include <utility>

namespace firstedge {

/// The samples in front of a pulse that are looked at, at most.
inline constexpr std::size_t most_resting_samples = 256;

/// What noise does to means of neighbouring samples and to their scatter, made ready for the samples in front
/// of a pulse. Safe to use from many threads.
class RestingNoise {
 public:
  RestingNoise(ChannelNoise noise);      // NOLINT(google-explicit-constructor)
  RestingNoise(const NoiseModel& model)  // NOLINT(google-explicit-constructor)
      : RestingNoise(ChannelNoise(model)) {}

  const ChannelNoise& noise() const { return noise_; }

  /// Covariance of the means of two blocks of samples, so many blocks apart (0: the variance), variance_v2
  /// being that of a sample.
  double of_means_v2(std::size_t block, std::size_t apart, double variance_v2) const;

  /// The sum of the squared distances of the means of blocks from a straight line through them: its mean, and
  /// its variance over the square of its mean.
  struct Scatter {
    double expected_v2 = 0, relative_variance = 0;
  };
  Scatter scatter(std::size_t block, std::size_t blocks, double variance_v2) const;

 private:
  /// What the blocks that are not the same one add: to the mean, and to the sum of squared covariances.
  struct Shares {
    double expected_v2 = 0, squares_v4 = 0;
  };
  Shares shares(std::size_t block, std::size_t blocks) const;

  ChannelNoise noise_;
  Shares of_samples_, of_eights_;  ///< for most_resting_samples
};

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
RestingLevel level_in_front(const ConditionedTrace& trace, const RestingNoise& noise, const Pulse& pulse,
                            std::size_t begin);

}  // namespace firstedge
