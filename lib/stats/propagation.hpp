// Propagation of uncertainty by its law (JCGM 100:2008, clause 5 and annex G): what the uncertainties of
// inputs make of the uncertainty of a function of them, input by input, and which coverage factor it takes.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

namespace firstedge {

/// The output as a function of the inputs, in the order of the inputs.
using Measurand = std::function<double(std::span<const double>)>;

/// Input quantities, each in a unit of its own.
struct InputQuantities {
  std::vector<Estimate> estimates;  ///< shape (n,)
  /// Correlation coefficients row by row, shape (n, n), symmetric with ones on its diagonal; empty: all
  /// independent.
  std::vector<double> correlation;
};

/// What one input brings.
struct Contribution {
  double sensitivity = 0;  ///< df/dx; 0 without being sought for an input without uncertainty
  double uncertainty = 0;  ///< |sensitivity| u, in the output's unit
  /// Of the output's variance, with the covariances that this input has a hand in; the shares add up to 1
  /// (0 all where the variance is 0). Negative where correlation makes the input take uncertainty away.
  double share = 0;
};

/// The output and what it is made of.
struct Propagated {
  Estimate output;  ///< combined standard uncertainty, effective degrees of freedom
  std::vector<Contribution> contributions;
};

/// The law of propagation with numerical derivatives (JCGM 100:2008, 5.1.2 and 5.2.2).
///
/// Derivatives: five points within a quarter of a standard uncertainty on either side of the estimate, the
/// step lowered until truncation and rounding balance (GSL's gsl_deriv_central): relative error below 1e-6
/// where the function is smooth over a standard uncertainty and the contribution is above 1e-8 of the
/// output's size. The law is of first order: where the function curves over a standard uncertainty, see
/// second_order_variance() and monte_carlo_propagation.hpp.
///
/// Degrees of freedom: Welch and Satterthwaite (G.4.1), which holds for independent inputs; NaN where
/// correlated inputs have finite ones.
///
/// Throws Error for no inputs, an input that is not finite or has no uncertainty (NaN, negative) or has no
/// positive degrees of freedom, a correlation that is not one, and a function that is not finite about the
/// estimates.
Propagated propagate(const Measurand& measurand, const InputQuantities& inputs);

/// The same for sum(coefficients[i] x[i]), exact to rounding: contributions that cancel leave nothing.
/// coefficients: shape (n,). Throws as propagate, and for sizes that differ.
Propagated propagate_sum(std::span<const double> coefficients, const InputQuantities& inputs);

/// Several functions of the same inputs, and how they go together (H.2.3).
struct JointlyPropagated {
  std::vector<Propagated> outputs;
  std::vector<double> covariance;                          ///< of the outputs, row by row
  double correlation(std::size_t a, std::size_t b) const;  ///< NaN for an output without uncertainty
};
JointlyPropagated propagate_jointly(std::span<const Measurand> measurands, const InputQuantities& inputs);

/// The terms of next higher order of the variance, to be added to the square of the first-order uncertainty
/// when inputs are independent and normal enough (JCGM 100:2008, 5.1.2, note):
/// sum over i, j of ((d2f/dxi dxj)^2/2 + df/dxi d3f/dxi dxj2) ui^2 uj^2.
///
/// Derivatives by central differences over half a standard uncertainty: exact for polynomials of second
/// degree, relative error of the order (u/(4 L))^2 for functions that change over lengths L. Throws as
/// propagate, and for inputs that are correlated.
double second_order_variance(const Measurand& measurand, const InputQuantities& inputs);

/// u_c^4 / sum(u_i^4/v_i) of independent contributions u_i (standard uncertainties, in the output's unit)
/// with degrees of freedom v_i (JCGM 100:2008, G.2b). Infinite if all that contribute have infinite ones.
/// Sizes must be equal (assert).
double effective_degrees_of_freedom(std::span<const double> contributions,
                                    std::span<const double> degrees_of_freedom);

/// The factor k of an interval +-k u that holds the share `coverage` (0.9545 for k = 2 at infinite degrees of
/// freedom): quantile of Student's t. Degrees of freedom that are not whole are cut to the whole number
/// below, but not below 1 (G.4.1); NaN counts as 1 (the careful side). Throws Error for a coverage outside
/// (0, 1).
double coverage_factor(double degrees_of_freedom, double coverage);

/// The share of a normal distribution within one and within two standard deviations.
inline constexpr double coverage_of_one_sigma = 0.6826894921370859;
inline constexpr double coverage_of_two_sigma = 0.9544997361036416;

/// coverage_factor(estimate's degrees of freedom, coverage) times its uncertainty (G.3.2).
double expanded_uncertainty(const Estimate& estimate, double coverage);

}  // namespace firstedge
