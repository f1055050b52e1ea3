// Template regression: the smooth shape that many noisy, aligned samples have in common.
#pragma once

#include "firstedge/timing/smoothing_spline.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace firstedge {

/// Least squares of a cubic spline on a grid with a penalty on its third differences, so that it is as smooth
/// as the noise asks and no smoother.
///
/// Source: penalised B-splines, P. Eilers and B. Marx, Statist. Sci. 11 (1996) 89; the weight of the penalty
/// by generalised cross-validation, P. Craven and G. Wahba, Numer. Math. 31 (1979) 377, divided by 30, which
/// leaves the error of the shape to its noise and not to the smoothing (from memory; the 3 is chosen by
/// simulation). Memory and time of solved() grow with the points; add() costs some 20 products, a sample of
/// add_pulse() 5.
class TemplateRegression {
 public:
  /// Points (at least 8) from first_s on, interval_s apart. However little noise there is, the penalty halves
  /// what stands at highest_hz in the shape (and takes (f/highest_hz)^6 of what stands at a lower f).
  TemplateRegression(double first_s, double interval_s, std::size_t points, double highest_hz);

  /// A sample of `volts` at t_s of a pulse of the given height: volts = height_v * shape(t_s) + noise.
  /// Samples outside the grid are ignored.
  void add(double t_s, double height_v, double volts);

  /// The samples of one pulse, evenly spaced from first_t_s on: as if each were added, to rounding, but much
  /// sooner where their interval is a whole number of that of the points (all then stand alike between them).
  /// Those that are not finite are ignored.
  void add_pulse(double first_t_s, double sample_interval_s, double height_v, std::span<const double> volts);

  struct Solution {
    std::vector<double> value;        ///< at the points; NaN throughout if the samples do not fix a shape
    std::vector<double> uncertainty;  ///< of each, from the scatter of the samples around the shape
  };
  Solution solved() const;

 private:
  // Pulses whose samples stand alike, by the distance of their samples in points: the products of the basis
  // functions are the same at each sample of a pulse, so only where it begins and ends is noted.
  struct AlikePulses {
    std::size_t stride = 0;
    SplineSums::Rows change;          ///< of the products at this row, against those a stride before
    std::vector<std::int32_t> begun;  ///< pulses that begin at this row less those that ended before it
  };

  void add_alike(std::span<const double> volts, double height_v,
                 const std::array<double, SplineSums::band>& basis, std::size_t cell, std::size_t stride);
  AlikePulses& alike(std::size_t stride);
  SplineSums all_sums() const;

  double first_s_ = 0, interval_s_ = 0, highest_hz_ = 0;
  std::size_t points_ = 0;
  SplineSums sums_;  // without the products of alike_
  std::vector<AlikePulses> alike_;
};

}  // namespace firstedge
