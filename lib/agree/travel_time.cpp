#include "firstedge/agree/travel_time.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/propagation.hpp"

#include <cmath>

#include <fmt/format.h>

namespace firstedge {

TravelTime travel_time(const Estimate& distance_m, const Estimate& beta) {
  if (!(distance_m.value >= 0) || !std::isfinite(distance_m.value) || !(distance_m.uncertainty >= 0))
    throw Error("distance",
                fmt::format("is {} m with the uncertainty {} m", distance_m.value, distance_m.uncertainty),
                "give metres, 0 or more");
  if (!(beta.value > 0 && beta.value <= 1) || !(beta.uncertainty >= 0))
    throw Error("beta", fmt::format("is {} with the uncertainty {}", beta.value, beta.uncertainty),
                "give a speed over that of light, above 0 and at most 1");
  TravelTime travel;
  const double per_metre_s = 1 / (beta.value * speed_of_light_m_per_s);
  travel.time_s = distance_m.value * per_metre_s;
  travel.terms.push_back({.name = "distance", .unit = "m", .input = distance_m, .sensitivity = per_metre_s});
  if (beta.uncertainty > 0)
    travel.terms.push_back(
        {.name = "beta", .unit = "", .input = beta, .sensitivity = -travel.time_s / beta.value});
  return travel;
}

Estimate beta_of(const Estimate& momentum_mev, double mass_mev) {
  if (!(momentum_mev.value > 0) || !std::isfinite(momentum_mev.value))
    throw Error("momentum", fmt::format("is {} MeV/c", momentum_mev.value), "give MeV/c above 0");
  if (!(mass_mev >= 0) || !std::isfinite(mass_mev))
    throw Error("mass", fmt::format("is {} MeV/c^2", mass_mev), "give MeV/c^2, 0 or more");
  const Measurand beta = [mass_mev](std::span<const double> p) { return p[0] / std::hypot(p[0], mass_mev); };
  return propagate(beta, {.estimates = {momentum_mev}, .correlation = {}}).output;
}

}  // namespace firstedge
