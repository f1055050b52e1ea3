#include "firstedge/timing/template_solution.hpp"

#include "firstedge/core/stamp.hpp"

namespace firstedge {
namespace {

// Columns closer to parallel than this (squared sine of their angle) cannot be told from one another.
constexpr double parallel = 1e-12;

double between(const Four& a, const FourByFour& products, const Four& b) {
  double sum = 0;
  for (std::size_t i = 0; i < 4; ++i)
    for (std::size_t j = 0; j < 4; ++j) sum += a[i] * products[i][j] * b[j];
  return sum;
}

double between(const Four& a, const Four& b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3];
}

// The normal equations of shape and level at a trial time; without a level its row and column are inert.
struct Equations {
  Four shape, slope;
  double shape_shape, shape_level, level_level, shape_slope, slope_level, slope_slope;
  double determinant;

  Equations(const FourByFour& columns, double rest, bool fit_level)
      : shape{1, rest, 0.5 * rest * rest, 0}, slope{0, 1, rest, 0} {
    const Four level{0, 0, 0, fit_level ? 1.0 : 0.0};
    shape_shape = between(shape, columns, shape);
    shape_slope = between(shape, columns, slope);
    slope_slope = between(slope, columns, slope);
    shape_level = between(shape, columns, level);
    slope_level = between(slope, columns, level);
    level_level = fit_level ? columns[level_column][level_column] : 1.0;
    determinant = shape_shape * level_level - shape_level * shape_level;
    if (!(determinant > parallel * shape_shape * level_level)) determinant = not_known;
  }
  double on_shape(double with_shape, double with_level) const {
    return (with_shape * level_level - with_level * shape_level) / determinant;
  }
  double on_level(double with_shape, double with_level) const {
    return (with_level * shape_shape - with_shape * shape_level) / determinant;
  }
  FreeSlope free() const {
    FreeSlope found;
    found.on_shape = on_shape(shape_slope, slope_level);
    found.on_level = on_level(shape_slope, slope_level);
    found.information = slope_slope - found.on_shape * shape_slope - found.on_level * slope_level;
    if (!(found.information > parallel * slope_slope)) found.information = not_known;
    return found;
  }
};

}  // namespace

TrialFit fit_at(const FourByFour& columns, const Four& data, double rest, bool fit_level) {
  const Equations equations(columns, rest, fit_level);
  const double with_shape = between(equations.shape, data);
  const double with_slope = between(equations.slope, data);
  const double with_level = fit_level ? data[level_column] : 0.0;
  TrialFit found;
  found.height_v = equations.on_shape(with_shape, with_level);
  found.level_v = equations.on_level(with_shape, with_level);
  found.explained = found.height_v * found.height_v * equations.determinant / equations.level_level;
  const double information = equations.free().information;
  found.information = found.height_v * found.height_v * information;
  const double gradient =
      with_slope - found.height_v * equations.shape_slope - found.level_v * equations.slope_level;
  found.step = gradient / (found.height_v * information);
  return found;
}

FreeSlope free_slope(const FourByFour& columns, double rest, bool fit_level) {
  return Equations(columns, rest, fit_level).free();
}

}  // namespace firstedge
