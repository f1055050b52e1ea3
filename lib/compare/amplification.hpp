// Amplified against bare: what an amplifier in front of the digitizer costs and brings, from two channels
// that see the same particle.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/signal/noise.hpp"
#include "firstedge/stats/bootstrap.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace firstedge {

/// One of the two channels; columns have a row a record, NaN where not known.
struct AmplifierSide {
  std::string channel;
  std::vector<double> height_v;       ///< of every pulse, clipped ones too
  std::vector<char> clipped;          ///< same size
  std::vector<double> transition_s;   ///< 10-90 %, of pulses without flags
  std::vector<double> uncertainty_s;  ///< stated, by the method that is compared
  std::vector<double> noise_v;        ///< single samples without a pulse, in any number
  PowerSpectrum signal, noise;        ///< stretches of the same length with and without pulses; may be empty
};

struct AmplifierInput {
  AmplifierSide bare, amplified;
  std::vector<double> delay_s;       ///< amplified less bare at half the height, a row a record
  std::vector<double> difference_s;  ///< of the two channels by the method that is compared
};

/// Uncertainties by bootstrap over records, unless said otherwise. "Referred to the input" means divided by
/// the gain.
struct Amplification {
  std::size_t records = 0;  ///< with a pulse in both channels
  /// Rank correlation of the two heights. Above same_signal both channels carry one signal and the gain is
  /// the median of the ratios of pulses that are clipped in neither; otherwise (two sensors, each with its
  /// own deposit) the ratio of the medians, which takes the two sensors as equal and in which clipped pulses
  /// keep their place above the median (wrong if half of the pulses are clipped).
  double height_correlation = 0;
  static constexpr double same_signal = 0.8;
  bool one_signal() const { return height_correlation > same_signal; }
  Estimate gain;

  Estimate bare_noise_v, amplified_noise_v;  ///< of one sample; uncertainty s/sqrt(2 (n - 1))
  Estimate referred_noise_v;                 ///< of the amplified channel, referred to the input
  Estimate noise_ratio;  ///< referred_noise_v over bare_noise_v: below 1 the amplifier wins signal-to-noise
  /// What the amplifier adds at its output, if all the noise of the bare channel came with the signal:
  /// sqrt(amplified^2 - (gain bare)^2); NaN where that is negative (the digitizer makes the bare noise). It
  /// is at most amplified_noise_v.
  Estimate added_noise_v;

  Estimate bare_transition_s, amplified_transition_s;  ///< medians
  /// sqrt(amplified^2 - bare^2): the amplifier's own, exact for Gaussian responses; NaN where it is none.
  Estimate own_transition_s;
  Estimate band_by_transition_hz;  ///< 0.34/own_transition_s (Gaussian response, 0.339624446254: derived)
  /// Where the ratio of the two signal powers (noise taken away) has fallen to half of its value at 0 Hz,
  /// which a straight line of its logarithm against frequency squared gives; uncertainty of a rectangle one
  /// bin wide. NaN where it never does.
  Estimate band_by_spectra_hz;

  /// Time factors: stated uncertainty times signal at the input, V s; the spread by noise is factor/signal.
  Estimate bare_factor_v_s, amplified_factor_v_s;
  double typical_signal_v = 0;                 ///< median height of the bare channel
  Estimate bare_spread_s, amplified_spread_s;  ///< by noise, each at that signal
  /// What is left of the pair's spread without noise, shared equally by the two channels; 0 where noise
  /// explains all.
  Estimate rest_s;
  /// The signal at the input below which a channel's spread (noise and rest together) is wider without the
  /// amplifier by more than `worth`: 0 where it never pays, infinite where the rest is 0 and it always does.
  static constexpr double worth = 0.05;
  Estimate pays_below_v;

  Estimate bare_clipped, amplified_clipped;  ///< shares of the pulses
  /// Lowest height of clipped pulses, referred to the input: above this signal times lean on few samples.
  /// Infinite where none is clipped.
  double bare_saturates_v = 0, amplified_saturates_v = 0;
  Estimate bare_below_saturation;  ///< share of the bare channel's pulses below amplified_saturates_v
  Estimate added_delay_s;          ///< median of delay_s: amplifier, cables and all that is not shared
};

/// Throws Error for columns of different sizes and fewer than 20 records with a pulse in both channels.
Amplification amplification_of(const AmplifierInput& input, const BootstrapOptions& options);

/// A channel's spread at a signal (V at the input): noise and rest in quadrature.
double spread_at(double signal_v, double factor_v_s, double rest_s);

}  // namespace firstedge
