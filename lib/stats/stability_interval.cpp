#include "firstedge/stats/stability_interval.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/stability_freedom.hpp"

#include <algorithm>
#include <cmath>

#include <boost/math/distributions/chi_squared.hpp>
#include <fmt/format.h>

namespace firstedge {
namespace {

PowerLawOptions options_for(StabilityMeasure measure) {
  switch (measure) {
    case StabilityMeasure::modified_allan:
    case StabilityMeasure::time:
    case StabilityMeasure::modified_total:
    case StabilityMeasure::time_total:
      return {.averaged = true};
    case StabilityMeasure::hadamard:
    case StabilityMeasure::overlapping_hadamard:
    case StabilityMeasure::hadamard_total:
      return {.most_differences = 3};
    default:
      return {};
  }
}

// Gives the estimate its noise type, degrees of freedom and interval.
void judge(StabilityEstimate& estimate, PowerLaw noise, std::size_t points, const StabilityOptions& options) {
  const std::size_t factor = estimate.point.factor;
  estimate.noise = noise;
  const double whole = degrees_of_freedom(options.measure, noise, points, factor);
  estimate.degrees_of_freedom = std::isnan(whole) ? whole : std::max(1.0, whole * estimate.point.present);
  double deviation = estimate.point.deviation;
  if (options.measure == StabilityMeasure::total)
    deviation /= std::sqrt(total_variance_bias(noise, points, factor));
  estimate.interval = chi_squared_interval(deviation, estimate.degrees_of_freedom, options.coverage);
}

}  // namespace

Interval chi_squared_interval(double deviation, double degrees_of_freedom, double coverage) {
  if (!(degrees_of_freedom > 0) || std::isnan(deviation)) return {std::nan(""), std::nan("")};
  const boost::math::chi_squared distribution(degrees_of_freedom);
  const auto end = [&](double probability) {
    return deviation * std::sqrt(degrees_of_freedom / boost::math::quantile(distribution, probability));
  };
  return {end(0.5 * (1 + coverage)), end(0.5 * (1 - coverage))};
}

std::vector<StabilityEstimate> stability(std::span<const double> phase_s, double interval_s,
                                         const StabilityOptions& options) {
  if (!(options.coverage > 0) || !(options.coverage < 1))
    throw Error("stability", fmt::format("a coverage of {} is asked for", options.coverage),
                "give one between 0 and 1, such as 0.683");
  const std::span<const double> x = without_outer_gaps(phase_s);
  std::vector<StabilityEstimate> found;
  std::optional<PowerLaw> noise;
  for (const std::size_t factor :
       averaging_factors(options.measure, x.size(), options.spacing, options.most_factors)) {
    StabilityEstimate estimate{.point = stability_at(x, interval_s, options.measure, factor)};
    if (estimate.point.terms == 0) continue;
    if (const auto here = power_law_noise(x, factor, options_for(options.measure)))
      noise = noise ? std::min(*noise, here->noise) : here->noise;
    if (noise) judge(estimate, *noise, x.size(), options);
    found.push_back(estimate);
  }
  return found;
}

}  // namespace firstedge
