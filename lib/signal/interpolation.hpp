// Crossings between samples: interpolation good enough for edges of four samples.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>

namespace firstedge {

/// Polynomial through 2, 4 or 6 neighbouring samples.
enum class Interpolation { linear, cubic, quintic };

/// The samples that an interpolated value is made of: value = sum of weights[i] * values[first + i] over
/// i < size. The weights add up to 1. With them the noise of an interpolated value follows exactly from the
/// covariance C of the samples: variance = w' C w.
struct Stencil {
  static constexpr std::size_t largest = 6;
  std::size_t first = 0;
  std::size_t size = 0;
  std::array<double, largest> weights{};
};

/// Where interpolated samples cross a level: position in samples from the first one, slope there per sample,
/// and the stencil at that position. Noise n of the samples moves the position by -(sum w_i n_i) /
/// slope_per_sample, to first order.
struct Crossing {
  double position = 0;
  double slope_per_sample = 0;
  Stencil stencil;
};

/// The stencil for a position between samples, 0 <= position <= size - 1 (clamped into that).
///
/// Of all runs of 2 (linear), 4 (cubic) or 6 (quintic) neighbouring samples that hold the position, the one
/// with the least estimated mean square error is taken: the square of its interpolation error, estimated from
/// the next two finite differences on its smoother side, plus the variance that noise_rms puts through its
/// weights. On smooth data that is the centred run; beside a kink (the start of an RC edge, a clipped top) it
/// is a run that keeps clear of the kink, as in essentially non-oscillatory schemes (A. Harten, B. Engquist,
/// S. Osher, S. Chakravarthy, J. Comput. Phys. 71 (1987) 231). noise_rms is the standard deviation of one
/// sample, in the unit of values: differences within it are no evidence of a kink. Give it for measured data,
/// or noise will choose the runs and the spread grows by up to a third.
///
/// Near the ends, and for fewer samples than the run asks for, the runs that exist are used. Samples that are
/// not finite are kept out of the stencil where that can be. Empty values: a stencil of size 0.
Stencil stencil_at(std::span<const double> values, double position, Interpolation interpolation,
                   double noise_rms = 0);

/// Where the interpolated samples cross `level`, looked for between samples `before` and `before + 1`, which
/// must bracket it: one on either side, or one of them on it and the other not. Otherwise, and for samples
/// that are not finite or not there: nothing.
///
/// The error of the position falls with the sample interval h as h^2 (linear), h^4 (cubic), h^6 (quintic) in
/// time. Straight lines are exact to rounding (1e-12 relative). Largest error over all positions of the
/// samples for 0.9 ns edges (10 % to 90 %) of RC steps, Gaussians and double exponentials: see
/// `cubic_error_s_at_four_samples` and its neighbours below. It fails where a kink lies between the two
/// bracketing samples themselves: there no polynomial holds, and the error can reach the order of 0.1 sample.
std::optional<Crossing> find_crossing(std::span<const double> values, std::size_t before, double level,
                                      Interpolation interpolation, double noise_rms = 0);

/// The position of find_crossing() alone, which costs half as much.
std::optional<double> crossing_position(std::span<const double> values, std::size_t before, double level,
                                        Interpolation interpolation, double noise_rms = 0);

/// The interpolated value at a fractional position; beyond the ends, the end sample. NaN for empty values or
/// a position that is NaN.
double interpolated(std::span<const double> values, double position, Interpolation interpolation,
                    double noise_rms = 0);

// Bounds of find_crossing on noiseless closed-form edges of 0.9 ns (10 % to 90 %), crossings from 10 % to
// 90 % of the height, every phase whose bracket is clear of the kink. Held by the tests.
inline constexpr double cubic_error_s_at_four_samples = 2e-12;
inline constexpr double quintic_error_s_at_four_samples = 0.4e-12;
inline constexpr double cubic_error_s_at_twenty_samples = 3e-15;
inline constexpr double quintic_error_s_at_twenty_samples = 2e-17;

}  // namespace firstedge
