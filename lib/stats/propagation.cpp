#include "firstedge/stats/propagation.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/input_checks.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_deriv.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// Where a derivative is first sought, in standard uncertainties; see the header.
constexpr double derivative_step = 0.25;

std::vector<double> values_of(const InputQuantities& inputs) {
  std::vector<double> values;
  for (const Estimate& estimate : inputs.estimates) values.push_back(estimate.value);
  return values;
}

double finite_value(const Measurand& measurand, std::span<const double> at) {
  const double value = measurand(at);
  if (!std::isfinite(value))
    throw Error("propagation", "the function is not finite at or beside the estimates",
                "use inputs inside the function's range");
  return value;
}

struct OneInput {
  const Measurand* measurand = nullptr;
  std::vector<double> at;
  std::size_t input = 0;
  static double function(double x, void* self) {
    OneInput& one = *static_cast<OneInput*>(self);
    one.at[one.input] = x;
    return (*one.measurand)(one.at);
  }
};

double sensitivity_of(const Measurand& measurand, const InputQuantities& inputs, std::size_t i) {
  const Estimate& estimate = inputs.estimates[i];
  if (estimate.uncertainty == 0) return 0;
  OneInput one{.measurand = &measurand, .at = values_of(inputs), .input = i};
  gsl_function function{.function = &OneInput::function, .params = &one};
  double derivative = 0, error = 0;
  gsl_deriv_central(&function, estimate.value, derivative_step * estimate.uncertainty, &derivative, &error);
  if (!std::isfinite(derivative))
    throw Error(fmt::format("propagation, input {}", i), "the function is not finite beside the estimate",
                "use inputs inside the function's range");
  return derivative;
}

std::vector<double> sensitivities_of(const Measurand& measurand, const InputQuantities& inputs) {
  std::vector<double> sensitivities;
  for (std::size_t i = 0; i < inputs.estimates.size(); ++i)
    sensitivities.push_back(sensitivity_of(measurand, inputs, i));
  return sensitivities;
}

// sum over j of c_j u_j r_ij: what input i multiplies to make its part of a (co)variance.
double partner_of(std::span<const double> sensitivities, const InputQuantities& inputs, std::size_t i) {
  double sum = 0;
  for (std::size_t j = 0; j < sensitivities.size(); ++j)
    sum += correlation_of(inputs, i, j) * sensitivities[j] * inputs.estimates[j].uncertainty;
  return sum;
}

double freedom_of(std::span<const double> uncertainties, const InputQuantities& inputs) {
  std::vector<double> freedoms;
  bool any_finite = false;
  for (std::size_t i = 0; i < uncertainties.size(); ++i) {
    freedoms.push_back(inputs.estimates[i].degrees_of_freedom);
    any_finite = any_finite || (uncertainties[i] > 0 && std::isfinite(freedoms.back()));
  }
  if (any_finite && any_correlated(inputs)) return nan;
  return effective_degrees_of_freedom(uncertainties, freedoms);
}

Propagated propagated(double value, std::span<const double> sensitivities, const InputQuantities& inputs) {
  Propagated result;
  double variance = 0;
  std::vector<double> uncertainties;
  for (std::size_t i = 0; i < sensitivities.size(); ++i) {
    const double signed_part = sensitivities[i] * inputs.estimates[i].uncertainty;
    const double part = signed_part * partner_of(sensitivities, inputs, i);
    variance += part;
    uncertainties.push_back(std::abs(signed_part));
    result.contributions.push_back(
        {.sensitivity = sensitivities[i], .uncertainty = uncertainties.back(), .share = part});
  }
  variance = std::max(variance, 0.0);  // rounding may leave a full correlation a little below 0
  for (Contribution& one : result.contributions) one.share = variance > 0 ? one.share / variance : 0;
  result.output = {value, std::sqrt(variance), freedom_of(uncertainties, inputs)};
  return result;
}

// Differences of a function over steps of half a standard uncertainty.
class Differences {
 public:
  Differences(const Measurand& measurand, const InputQuantities& inputs)
      : measurand_(measurand), inputs_(inputs), at_(values_of(inputs)) {}

  // The terms of i and j, in the output's unit squared; both inputs have an uncertainty.
  double second_order_term(std::size_t i, std::size_t j) {
    const double curvature = mixed(i, j) / (step * step);
    // d3f/dxi dxj2: the curvature over j, differenced over i.
    const double third = (curved(i, 1, j) - curved(i, -1, j)) / (2 * step * step * step);
    const double slope = (moved(i, 1) - moved(i, -1)) / (2 * step);
    return curvature * curvature / 2 + slope * third;
  }

 private:
  static constexpr double step = 0.5;  // in standard uncertainties

  double moved(std::size_t i, double steps, std::size_t j = 0, double other_steps = 0) {
    std::vector<double> at = at_;
    at[i] += steps * step * inputs_.estimates[i].uncertainty;
    at[j] += other_steps * step * inputs_.estimates[j].uncertainty;
    return finite_value(measurand_, at);
  }
  double curved(std::size_t i, double steps, std::size_t j) {
    return moved(i, steps, j, 1) - 2 * moved(i, steps) + moved(i, steps, j, -1);
  }
  double mixed(std::size_t i, std::size_t j) {
    if (i == j) return moved(i, 1) - 2 * moved(i, 0) + moved(i, -1);
    return (moved(i, 1, j, 1) - moved(i, 1, j, -1) - moved(i, -1, j, 1) + moved(i, -1, j, -1)) / 4;
  }

  const Measurand& measurand_;
  const InputQuantities& inputs_;
  std::vector<double> at_;
};

}  // namespace

Propagated propagate(const Measurand& measurand, const InputQuantities& inputs) {
  check_inputs(inputs);
  const double value = finite_value(measurand, values_of(inputs));
  return propagated(value, sensitivities_of(measurand, inputs), inputs);
}

Propagated propagate_sum(std::span<const double> coefficients, const InputQuantities& inputs) {
  check_inputs(inputs);
  if (coefficients.size() != inputs.estimates.size())
    throw Error("propagation",
                fmt::format("{} coefficients for {} inputs", coefficients.size(), inputs.estimates.size()),
                "give one for each");
  double value = 0;
  for (std::size_t i = 0; i < coefficients.size(); ++i) value += coefficients[i] * inputs.estimates[i].value;
  return propagated(value, coefficients, inputs);
}

double JointlyPropagated::correlation(std::size_t a, std::size_t b) const {
  const double scale = outputs[a].output.uncertainty * outputs[b].output.uncertainty;
  return scale > 0 ? covariance[a * outputs.size() + b] / scale : nan;
}

JointlyPropagated propagate_jointly(std::span<const Measurand> measurands, const InputQuantities& inputs) {
  JointlyPropagated joint;
  for (const Measurand& measurand : measurands) joint.outputs.push_back(propagate(measurand, inputs));
  for (const Propagated& a : joint.outputs) {
    std::vector<double> sensitivities;
    for (const Contribution& one : a.contributions) sensitivities.push_back(one.sensitivity);
    for (const Propagated& b : joint.outputs) {
      double covariance = 0;
      for (std::size_t i = 0; i < sensitivities.size(); ++i)
        covariance += b.contributions[i].sensitivity * inputs.estimates[i].uncertainty *
                      partner_of(sensitivities, inputs, i);
      joint.covariance.push_back(covariance);
    }
  }
  return joint;
}

double second_order_variance(const Measurand& measurand, const InputQuantities& inputs) {
  check_inputs(inputs);
  if (any_correlated(inputs))
    throw Error("propagation", "terms of higher order are asked for with correlated inputs",
                "use the Monte Carlo propagation");
  Differences differences(measurand, inputs);
  double variance = 0;
  for (std::size_t i = 0; i < inputs.estimates.size(); ++i) {
    for (std::size_t j = 0; j < inputs.estimates.size(); ++j) {
      if (inputs.estimates[i].uncertainty > 0 && inputs.estimates[j].uncertainty > 0)
        variance += differences.second_order_term(i, j);
    }
  }
  return variance;
}

double effective_degrees_of_freedom(std::span<const double> contributions,
                                    std::span<const double> degrees_of_freedom) {
  assert(contributions.size() == degrees_of_freedom.size());
  // Scaled by the largest, since the fourth power of picoseconds leaves the range of a double.
  double largest = 0;
  for (const double one : contributions) largest = std::max(largest, std::abs(one));
  double variance = 0, sum = 0;
  for (std::size_t i = 0; i < contributions.size() && largest > 0; ++i) {
    const double square = contributions[i] / largest * (contributions[i] / largest);
    variance += square;
    sum += square * square / degrees_of_freedom[i];
  }
  return sum > 0 ? variance * variance / sum : std::numeric_limits<double>::infinity();
}

double coverage_factor(double degrees_of_freedom, double coverage) {
  if (!(coverage > 0 && coverage < 1))
    throw Error("coverage factor", fmt::format("a coverage of {} is not between 0 and 1", coverage),
                "give a share such as 0.95");
  const double beyond = (1 - coverage) / 2;
  if (std::isinf(degrees_of_freedom)) return gsl_cdf_ugaussian_Qinv(beyond);
  const double whole = std::isnan(degrees_of_freedom) ? 1 : std::max(1.0, std::floor(degrees_of_freedom));
  return gsl_cdf_tdist_Qinv(beyond, whole);
}

double expanded_uncertainty(const Estimate& estimate, double coverage) {
  return coverage_factor(estimate.degrees_of_freedom, coverage) * estimate.uncertainty;
}

}  // namespace firstedge
