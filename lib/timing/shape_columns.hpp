// Shape columns: a family's mean and components sampled and whitened around a pulse, and the fit of all to
// it.
#pragma once

#include "firstedge/timing/family_shape.hpp"
#include "firstedge/timing/template_pulse.hpp"

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// The components of a family on the sampling grid of its TemplateColumns. Safe to use from many threads.
class ShapeColumns {
 public:
  /// columns: those of the family's mean; they must outlive it.
  ShapeColumns(const FamilyShape& shape, const TemplateColumns& columns);

  std::size_t components() const { return ready_.size(); }
  const TemplateColumns& mean() const { return *columns_; }
  /// One component at the window of a time, not whitened: its value and its derivative with the time (per
  /// sample) for a pulse of height 1 V. Shape (samples(),) each.
  struct Sampled {
    std::vector<double> value, slope;
  };
  Sampled sampled(std::size_t component, double time_samples) const;

 private:
  using Position = std::array<std::vector<double>, 3>;  // value, slope, curvature
  const TemplateColumns* columns_;
  std::vector<std::vector<Position>>
      ready_;  // of each component, for each place that TemplateColumns has ready
};

/// A pulse fitted with its own coefficients. covariance is that of time (samples), height, the products of
/// height and coefficient, and the level if one is fitted, in this order, for the noise of the model.
struct FittedShape {
  double time_samples = 0, height_v = 0, level_v = 0;
  std::vector<double> coefficients;
  double chi_square = 0;  ///< the population's part included
  std::size_t degrees_of_freedom = 0;
  std::vector<std::vector<double>> covariance;
  std::vector<std::vector<double>>
      sample_weights;  ///< of time, height and products; shape (2 + components, samples)
  bool clipped = false, cut_before = false, cut_after = false;
};

/// Fits time, height, coefficients and level to one pulse from start_samples by Gauss-Newton. Coefficient c
/// is taken from a population of mean 0 and standard deviation population[c] (infinite: it is free), which
/// adds a row to the data. Nothing when it does not come to rest within 30 trials (steps of 1e-4
/// uncertainties), moves further than half a support, the height is not over 0 or too few samples are left.
std::optional<FittedShape> fit_shape(const ShapeColumns& columns, const PulseSamples& samples,
                                     double start_samples, double start_height_v,
                                     std::span<const double> population);

}  // namespace firstedge
