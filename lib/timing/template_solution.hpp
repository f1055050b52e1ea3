// Template solution: height, time and level of a pulse by least squares, from the products of a few columns.
#pragma once

#include <array>
#include <cstddef>

namespace firstedge {

/// The columns of the fit near one position of the template: the samples of a pulse of height A that stands
/// d samples later are A (c0 + d c1 + d^2/2 c2) + b c3: the shape, its first and second derivative with the
/// time (in samples), and a constant level.
enum Column : std::size_t { shape_column, slope_column, curvature_column, level_column };
using Four = std::array<double, 4>;
using FourByFour = std::array<Four, 4>;

/// What the fit says at a trial time: the best height and level there, and the Gauss-Newton step of the time.
struct TrialFit {
  double height_v = 0;
  double level_v = 0;
  double explained = 0;    ///< drop of chi-square by the pulse: (height over its uncertainty at this time)^2
  double step = 0;         ///< to the time that the linearised fit would have, samples
  double information = 0;  ///< on the time at this height with height and level free, 1/samples^2
};

/// columns: products of the whitened columns with one another; data: with the whitened samples; rest: d
/// above. Height and level are linear and solved for exactly, the step is that of the full three-parameter
/// Gauss-Newton method started from them (A. Bjorck, Numerical Methods for Least Squares Problems, 9.4.1 on
/// separable problems; from memory). Everything is NaN when the columns cannot be told from one another.
TrialFit fit_at(const FourByFour& columns, const Four& data, double rest, bool fit_level);

/// The part of the slope column that neither the shape nor the level can imitate:
/// slope - on_shape * shape - on_level * level, and its squared length.
struct FreeSlope {
  double on_shape = 0;
  double on_level = 0;
  double information = 0;
};
FreeSlope free_slope(const FourByFour& columns, double rest, bool fit_level);

}  // namespace firstedge
