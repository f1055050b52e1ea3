// Phase of the three power-law noises that need no more than running sums, with their exact deviations.
#pragma once

#include "firstedge/stats/power_law_noise.hpp"

#include "support/random.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

namespace firstedge::test {

/// Each value by the sum of all up to it.
inline void integrate(std::vector<double>& values) {
  double sum = 0;
  for (double& value : values) value = sum += value;
}

/// Phase of white phase, white frequency or random walk frequency noise made of normal values of deviation 1,
/// at intervals of 1.
inline std::vector<double> power_law_phase(PowerLaw noise, std::size_t points, Random& random) {
  std::vector<double> phase(points, 0.0);
  random.add_white_noise(phase, 1);
  if (noise == PowerLaw::white_frequency || noise == PowerLaw::random_walk_frequency) integrate(phase);
  if (noise == PowerLaw::random_walk_frequency) integrate(phase);
  return phase;
}

/// The Allan variance of that noise: 3/m^2, 1/m, (2 m^2 + 1)/(6 m) (derived from the sums).
inline double allan_variance(PowerLaw noise, double m) {
  if (noise == PowerLaw::white_phase) return 3 / (m * m);
  return noise == PowerLaw::white_frequency ? 1 / m : (2 * m * m + 1) / (6 * m);
}

/// The modified Allan variance of that noise (derived): a term is a sum of independent normal values, each
/// with the weight that the sums and the second difference of m-averages give it.
inline double modified_allan_variance(PowerLaw noise, std::size_t m) {
  std::vector<double> weights;  // of the phase, latest first
  for (std::size_t i = 0; i < 3 * m; ++i) weights.push_back(i / m == 1 ? -2.0 : 1.0);
  // What a value adds to all later phases: running sums from the latest.
  if (noise != PowerLaw::white_phase) integrate(weights);
  if (noise == PowerLaw::random_walk_frequency) integrate(weights);
  double squares = 0;
  for (const double weight : weights) squares += weight * weight;
  return squares / (2 * std::pow(static_cast<double>(m), 4));
}

}  // namespace firstedge::test
