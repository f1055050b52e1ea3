// Random numbers of Landau's distribution, made without any Landau function of ours.
#pragma once

#include "support/random.hpp"

#include <cmath>
#include <numbers>

namespace firstedge::test {

/// Standard form of the library's landau_density. The stable law of exponent 1 and skewness 1 by J. Chambers,
/// C. Mallows and B. Stuck, J. Am. Stat. Assoc. 71 (1976) 340 (from memory): the test
/// landau_variates_follow_the_distribution holds it to the distribution.
inline double landau_variate(test::Random& random) {
  using std::numbers::pi;
  const double angle = pi * (random.uniform(0, 1) - 0.5);
  const double exponential = -std::log(1 - random.uniform(0, 1));
  const double shifted = 0.5 * pi + angle;
  const double stable =
      2 / pi * (shifted * std::tan(angle) - std::log(0.5 * pi * exponential * std::cos(angle) / shifted));
  // Scale pi/2 and the shift that a scale brings for exponent 1.
  return 0.5 * pi * stable + std::log(0.5 * pi);
}

}  // namespace firstedge::test
