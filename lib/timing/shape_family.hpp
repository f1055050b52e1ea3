// Shape family: a mean pulse shape and the few ways in which the shapes of a channel differ from it.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/timing/template_building.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// One way of differing. The shape of a pulse is mean + coefficient * shape (more of them added up).
struct ShapeComponent {
  std::vector<double> shape;  ///< on the points of the mean, in units of its peak, for a coefficient of 1
  double significance = 0;    ///< standard errors by which it stood out in pulses it was not learnt from
};

/// The shapes of a channel's pulses. Over the pulses learnt from, each coefficient has the mean 0 and the
/// standard deviation 1. components is empty when one shape does for all pulses.
struct ShapeFamily {
  PulseTemplate mean;
  std::vector<ShapeComponent> components;  ///< the most important first
};

struct ShapeFamilyOptions {
  std::size_t most_components = 2;  ///< 0 to 4
  double least_significance = 5;    ///< in standard errors
};

/// The family around a mean shape that build_template() made of the same pulses; give all pulses of a trace,
/// in order and one trace after the other. Principal components of the aligned pulses, weighted by the noise:
/// what is left of each pulse after the best fit of the mean shape (template_fit.hpp) is whitened, the
/// direction in which the pulses scatter most over the noise is found by power iteration, and is then refined
/// on the fine grid by turns: the coefficients of all pulses for the given component, together with time,
/// height and level; and the component for the given coefficients, by one least-squares spline through all
/// samples (TemplateRegression).
///
/// Number of components: each is learnt from every other pulse and looked for in the rest. It is kept if the
/// mean square of its coefficients there, over what the noise makes of them, is over 1 by least_significance
/// standard errors, sqrt(2/pulses) each; the first that is not ends the list. (Cross-validation of principal
/// components: S. Wold, Technometrics 20 (1978) 397, from memory; this rule is our own.) A channel of one
/// shape gets a component by chance in fewer than 1 in 10^6 cases if its noise is as the model says.
///
/// Where it fails: fewer than some 100 pulses find nothing; shapes that differ by more than one or two
/// components can follow (a sudden second kind of pulse) give a mean and leave the odd ones with a poor fit,
/// as they should. A component is only known up to what moves or scales the whole pulse, see ShapeFamilyFit.
/// Same input, same bits. Throws Error for a mean that
/// TemplateShape refuses and for options out of range.
ShapeFamily build_shape_family(const PulseTemplate& mean, std::span<const PulseInTrace> pulses,
                               const NoiseModel& noise, const ShapeFamilyOptions& options = {});

}  // namespace firstedge
