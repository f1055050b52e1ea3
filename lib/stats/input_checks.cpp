#include "firstedge/stats/input_checks.hpp"

#include "firstedge/core/error.hpp"

#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Coefficients computed from readings differ by rounding from one side to the other.
constexpr double symmetry_rounding = 1e-12;

[[noreturn]] void refuse(std::size_t input, const std::string& problem, const std::string& remedy) {
  throw Error(fmt::format("propagation, input {}", input), problem, remedy);
}

void check_estimate(std::size_t i, const Estimate& estimate) {
  if (!std::isfinite(estimate.value)) refuse(i, "has no finite value", "give one");
  if (!std::isfinite(estimate.uncertainty) || estimate.uncertainty < 0)
    refuse(i, fmt::format("has the uncertainty {}", estimate.uncertainty),
           "give a standard uncertainty of 0 or more");
  if (!(estimate.degrees_of_freedom > 0))
    refuse(i, fmt::format("has {} degrees of freedom", estimate.degrees_of_freedom),
           "give a number above 0, or infinity where the uncertainty is known");
}

}  // namespace

double correlation_of(const InputQuantities& inputs, std::size_t i, std::size_t j) {
  if (i == j) return 1;
  return inputs.correlation.empty() ? 0 : inputs.correlation[i * inputs.estimates.size() + j];
}

bool any_correlated(const InputQuantities& inputs) {
  const std::size_t n = inputs.estimates.size();
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      if (correlation_of(inputs, i, j) != 0) return true;
    }
  }
  return false;
}

void check_inputs(const InputQuantities& inputs) {
  const std::size_t n = inputs.estimates.size();
  if (n == 0) throw Error("propagation", "there are no inputs", "give at least one");
  for (std::size_t i = 0; i < n; ++i) check_estimate(i, inputs.estimates[i]);
  if (inputs.correlation.empty()) return;
  if (inputs.correlation.size() != n * n)
    throw Error("propagation", fmt::format("{} correlations for {} inputs", inputs.correlation.size(), n),
                "give a square of them, row by row");
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j) {
      const double one = inputs.correlation[i * n + j];
      const bool good = i == j ? one == 1
                               : std::abs(one) <= 1 + symmetry_rounding &&
                                     std::abs(one - inputs.correlation[j * n + i]) <= symmetry_rounding;
      if (!good)
        refuse(i, fmt::format("has the correlation {} with input {}", one, j),
               "give coefficients from -1 to 1, the same both ways, and 1 with itself");
    }
  }
}

}  // namespace firstedge
