// Family shape: the shapes of a family as smooth functions of time, with the instants read off them.
#pragma once

#include "firstedge/timing/shape_family.hpp"
#include "firstedge/timing/template_shape.hpp"

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace firstedge {

/// Splines through mean and components, times in seconds from the mean's reference instant, values in units
/// of the mean's peak. Accuracy as TemplateShape. Throws Error for a mean that TemplateShape refuses and for
/// components of another length than the mean or not finite.
class FamilyShape {
 public:
  explicit FamilyShape(const ShapeFamily& family);

  const TemplateShape& mean() const { return mean_; }
  std::size_t components() const;
  /// A component, its first or its second derivative (per s, per s^2); beyond the ends, that at the end.
  double component(std::size_t which, double t_s, int derivative) const;

  /// Of the member with these coefficients: where its leading edge crosses the family's reference fraction of
  /// its own peak, how that moves with each coefficient, the slope there and the peak. Everything is NaN for
  /// a member whose edge is not found within two transition durations of the mean's.
  struct Instants {
    double reference_s = 0;
    std::vector<double> reference_per_coefficient_s;
    double slope_per_s = 0;
    double peak = 0;
  };
  Instants instants(std::span<const double> coefficients) const;

 private:
  struct Splines;
  double member(std::span<const double> coefficients, double t_s, int derivative) const;

  TemplateShape mean_;
  std::shared_ptr<const Splines> splines_;
};

}  // namespace firstedge
