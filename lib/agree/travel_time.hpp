// How long a signal or a particle takes from one station to the other.
#pragma once

#include "firstedge/core/applied_delay.hpp"
#include "firstedge/core/estimate.hpp"

#include <vector>

namespace firstedge {

/// m/s, exact (SI Brochure, 9th edition).
inline constexpr double speed_of_light_m_per_s = 299'792'458;

struct TravelTime {
  double time_s = 0;
  std::vector<DelayTerm> terms;  ///< distance, and beta where it is uncertain
};

/// distance/(beta c), and what it rests on. Throws Error for a distance that is negative or not finite, and
/// for a beta outside (0, 1].
TravelTime travel_time(const Estimate& distance_m, const Estimate& beta = {1, 0});

/// beta = p/sqrt(p^2 + m^2) of a momentum in MeV/c and a mass in MeV/c^2, uncertainty by the law of
/// propagation. Throws Error for a momentum that is not positive and a mass that is negative.
Estimate beta_of(const Estimate& momentum_mev, double mass_mev);

/// Masses in MeV/c^2 (CODATA 2018 and Particle Data Group, as many tables repeat them).
inline constexpr double muon_mass_mev = 105.6583755;
inline constexpr double electron_mass_mev = 0.51099895;
inline constexpr double proton_mass_mev = 938.27208816;

}  // namespace firstedge
