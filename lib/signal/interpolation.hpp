// Crossings between samples: interpolation good enough for edges of four samples.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace firstedge {

enum class Interpolation { linear, cubic, quintic };

/// Where the interpolated samples cross `level`, looked for between samples `before` and `before + 1`, which
/// must bracket it (otherwise nothing). Position in samples, and the slope there per sample.
struct Crossing {
  double position = 0;
  double slope_per_sample = 0;
};
std::optional<Crossing> find_crossing(std::span<const double> values, std::size_t before, double level,
                                      Interpolation interpolation);

/// The interpolated value at a fractional position, clamped to the samples at the ends.
double interpolated(std::span<const double> values, double position, Interpolation interpolation);

}  // namespace firstedge
