// Skin-effect lines: the closed forms of a cable whose loss grows with the square root of frequency.
#pragma once

#include <complex>

namespace firstedge {

/// A matched line: H(w) = exp(-j w delay_s - K sqrt(j w)). The loss constant K (s^(1/2)) and the bulk delay,
/// the arrival of the wave front, both grow in proportion to the length; half_time_s grows with its square.
///
/// Source: R. L. Wigington and N. S. Nahman, Proc. IRE 45 (1957) 166 (citation from memory; the step response
/// is the Laplace pair of exp(-K sqrt s)/s). Fails where the loss of the dielectric, which grows with
/// frequency itself, is not small, and below some MHz, where the skin is as deep as the conductor.
struct SkinLine {
  double delay_s = 0;
  double loss_constant = 0;

  /// H at the angular frequency (rad/s, >= 0). A negative K, as a fit may find it, amplifies.
  std::complex<double> transfer(double angular_frequency) const;
  /// erfc(K/(2 sqrt(t - delay_s))) after the wave front, 0 before.
  double step_response(double time_s) const;
  /// Time from the wave front to half of the step: (K/(2 erfc^-1(1/2)))^2.
  double half_time_s() const;
  /// Loss in dB, positive for K > 0: 20 log10(e) K sqrt(pi f).
  double attenuation_db(double frequency_hz) const;
  /// -d(phase)/dw = delay_s + K/(2 sqrt(2 w)), and -phase/w = delay_s + K/sqrt(2 w). Infinite at 0 Hz.
  double group_delay_s(double frequency_hz) const;
  double phase_delay_s(double frequency_hz) const;
};

/// K of a line that has this loss at this frequency (Hz, > 0), all of it taken as skin effect.
double loss_constant_of(double attenuation_db, double frequency_hz);

}  // namespace firstedge
