// Designs of recursive filters as second-order sections, and of kernels. Used by Filter; open to other rooms
// that need a plain Butterworth, such as the simulation's amplifier.
#pragma once

#include "firstedge/signal/filter.hpp"

#include <complex>
#include <vector>

namespace firstedge {

/// Butterworth or Bessel sections for the band, order and corners of options, at the sampling rate given.
/// Gain 1 at 0 Hz (low-pass), half the sampling rate (high-pass), or the centre (band-pass). Source: bilinear
/// transform of the analogue prototype, e.g. Oppenheim and Schafer, Discrete-Time Signal Processing, ch. 7;
/// Bessel prototype: roots of the reverse Bessel polynomial (Thomson, Proc. IEE 96 (1949) 487).
std::vector<FilterSection> recursive_sections(const FilterOptions& options, double sampling_hz);

/// A notch of gain 1 at 0 Hz and at half the sampling rate, 0 at the centre.
FilterSection notch_section(double centre_hz, double quality, double sampling_hz);

/// The mean over a width of so many samples (1 or more need not be whole).
FilterKernel moving_average_kernel(double width_samples);
/// A Gaussian of this standard deviation in samples, weights adding up to 1.
FilterKernel gaussian_kernel(double deviation_samples);
/// The matched filter of a template in noise, at the trace's sample interval.
FilterKernel matched_kernel(const PulseTemplate& pulse_template, const NoiseModel& noise, double interval_s);

/// Complex response at a frequency in cycles per sample; of a kernel, relative to its origin.
std::complex<double> response(const std::vector<FilterSection>& sections, double cycles_per_sample);
std::complex<double> response(const FilterKernel& kernel, double cycles_per_sample);

/// Group delay in samples at a frequency in cycles per sample.
double group_delay(const std::vector<FilterSection>& sections, double cycles_per_sample);

}  // namespace firstedge
