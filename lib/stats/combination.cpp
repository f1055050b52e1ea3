#include "firstedge/stats/combination.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <iterator>
#include <limits>
#include <vector>

#include <fmt/format.h>
#include <gsl/gsl_cdf.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

void check(std::span<const Estimate> results, std::size_t fewest) {
  if (results.size() < fewest)
    throw Error("combination", fmt::format("{} results are too few", results.size()),
                fmt::format("give at least {}", fewest));
  for (std::size_t i = 0; i < results.size(); ++i) {
    if (!std::isfinite(results[i].value) || !(results[i].uncertainty > 0) ||
        !std::isfinite(results[i].uncertainty))
      throw Error(fmt::format("combination, result {}", i), "has no finite value with a positive uncertainty",
                  "leave it out");
  }
}

/// Sums over the results with weights 1/(u^2 + between^2).
struct Sums {
  double weights = 0, squared_weights = 0, mean = 0, chi_square = 0;
};

Sums sums_of(std::span<const Estimate> results, double between_squared) {
  Sums sums;
  const auto weight = [&](const Estimate& result) {
    return 1 / (result.uncertainty * result.uncertainty + between_squared);
  };
  // From the first result on, so that a common large part of the values costs no digits.
  const double origin = results.front().value;
  double moment = 0;
  for (const Estimate& result : results) {
    sums.weights += weight(result);
    sums.squared_weights += weight(result) * weight(result);
    moment += weight(result) * (result.value - origin);
  }
  sums.mean = origin + moment / sums.weights;
  for (const Estimate& result : results)
    sums.chi_square += weight(result) * (result.value - sums.mean) * (result.value - sums.mean);
  return sums;
}

RandomEffects with_between(std::span<const Estimate> results, double between_squared) {
  const Sums sums = sums_of(results, between_squared);
  return {.mean = {.value = sums.mean, .uncertainty = 1 / std::sqrt(sums.weights)},
          .between = std::sqrt(between_squared)};
}

}  // namespace

WeightedMean weighted_mean(std::span<const Estimate> results) {
  check(results, 1);
  const Sums sums = sums_of(results, 0);
  WeightedMean found{.mean = {.value = sums.mean, .uncertainty = 1 / std::sqrt(sums.weights)},
                     .chi_square = sums.chi_square,
                     .degrees_of_freedom = results.size() - 1,
                     .probability = nan,
                     .birge_ratio = nan};
  if (found.degrees_of_freedom == 0) return found;
  const auto freedom = static_cast<double>(found.degrees_of_freedom);
  found.probability = gsl_cdf_chisq_Q(sums.chi_square, freedom);
  found.birge_ratio = std::sqrt(sums.chi_square / freedom);
  return found;
}

double scale_factor(std::span<const Estimate> results) {
  const WeightedMean all = weighted_mean(results);
  const double limit = 3 * std::sqrt(static_cast<double>(results.size())) * all.mean.uncertainty;
  std::vector<Estimate> exact;
  std::copy_if(results.begin(), results.end(), std::back_inserter(exact),
               [limit](const Estimate& result) { return result.uncertainty < limit; });
  return exact.size() < 2 ? 1 : std::max(1.0, weighted_mean(exact).birge_ratio);
}

RandomEffects random_effects_by_moments(std::span<const Estimate> results) {
  check(results, 2);
  const Sums sums = sums_of(results, 0);
  const double excess = sums.chi_square - static_cast<double>(results.size() - 1);
  return with_between(results, std::max(0.0, excess / (sums.weights - sums.squared_weights / sums.weights)));
}

RandomEffects random_effects_by_consistency(std::span<const Estimate> results) {
  check(results, 2);
  const auto freedom = static_cast<double>(results.size() - 1);
  if (sums_of(results, 0).chi_square <= freedom) return with_between(results, 0);
  // Chi-square falls as `between` grows, below the degrees of freedom once it is the range of the values.
  const auto [least, greatest] = std::minmax_element(
      results.begin(), results.end(), [](const Estimate& a, const Estimate& b) { return a.value < b.value; });
  double low = 0, high = std::pow(greatest->value - least->value, 2) * (freedom + 1);
  for (int halving = 0; halving < 200 && high - low > 1e-12 * high; ++halving) {
    const double middle = 0.5 * (low + high);
    (sums_of(results, middle).chi_square > freedom ? low : high) = middle;
  }
  return with_between(results, 0.5 * (low + high));
}

Estimate distance_from_mean(std::span<const Estimate> results, std::size_t index) {
  assert(index < results.size());
  const Estimate mean = weighted_mean(results).mean;
  const double variance =
      results[index].uncertainty * results[index].uncertainty - mean.uncertainty * mean.uncertainty;
  return {.value = results[index].value - mean.value, .uncertainty = std::sqrt(std::max(0.0, variance))};
}

double chi_square_of_difference(const Estimate& first, const Estimate& second, double covariance) {
  const double variance =
      first.uncertainty * first.uncertainty + second.uncertainty * second.uncertainty - 2 * covariance;
  if (!(variance > 0))
    throw Error("combination", "the difference of the two results has no positive variance",
                "give a covariance below the mean of the two variances");
  return (first.value - second.value) * (first.value - second.value) / variance;
}

}  // namespace firstedge
