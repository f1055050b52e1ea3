// Flight times against closed forms. Masses as the Particle Data Group lists them; figures recomputed with
// NumPy from the formula t/L = 1/(beta c), beta = p/sqrt(p^2 + m^2), c exact (SI Brochure).
#include "firstedge/agree/travel_time.hpp"

#include "firstedge/core/error.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

double per_metre_ns(double momentum_mev, double mass_mev) {
  return travel_time({1, 0}, beta_of({momentum_mev, 0}, mass_mev)).time_s * 1e9;
}

TEST(travel_time_reference, light) {
  EXPECT_NEAR(travel_time({1, 0}).time_s * 1e9, 3.33564095198, 5e-12);
  EXPECT_NEAR(travel_time({0.3048, 0}).time_s * 1e9, 1.01670336, 5e-9);  // a foot
  EXPECT_NEAR(travel_time({1000, 0}).time_s * 1e9, 3335.64095198, 5e-9);
  EXPECT_NEAR(travel_time({412, 0}).time_s * 1e9, 1374.28407, 5e-6);
}

TEST(travel_time_reference, particles) {
  EXPECT_NEAR(beta_of({1000, 0}, muon_mass_mev).value, 0.9944644588, 5e-11);
  EXPECT_NEAR(beta_of({10000, 0}, muon_mass_mev).value, 0.9999441862, 5e-11);
  EXPECT_NEAR(beta_of({1000, 0}, proton_mass_mev).value, 0.7292562028, 5e-11);
  EXPECT_NEAR(per_metre_ns(1000, muon_mass_mev), 3.35420831, 5e-9);
  EXPECT_NEAR(per_metre_ns(1000, proton_mass_mev), 4.57403165, 5e-9);
  const double light_ns = travel_time({100, 0}).time_s * 1e9;
  EXPECT_NEAR(100 * per_metre_ns(1000, muon_mass_mev) - light_ns, 1.856736, 5e-7);
  EXPECT_NEAR(100 * per_metre_ns(10000, muon_mass_mev) - light_ns, 0.018619, 5e-7);
  // 0.044 ps in 100 m; rounding of 333.6 ns is 6e-5 ps.
  EXPECT_NEAR((100 * per_metre_ns(1000, electron_mass_mev) - light_ns) * 1e3, 0.044, 5e-4);
}

// Derived: u(t) = u(L)/(beta c); u(beta) = u(p) m^2/E^3.
TEST(travel_time_reference, uncertainties) {
  const Estimate beta = beta_of({1000, 10}, muon_mass_mev);
  const double energy = std::hypot(1000, muon_mass_mev);
  // Five-point derivatives: relative error below 1e-6 (propagation.hpp).
  EXPECT_NEAR(beta.uncertainty / (10 * muon_mass_mev * muon_mass_mev / std::pow(energy, 3)), 1, 1e-6);
  const TravelTime travel = travel_time({412, 0.01}, beta);
  ASSERT_EQ(travel.terms.size(), 2U);
  EXPECT_NEAR(travel.terms[0].contribution_s(), 0.01 / (beta.value * speed_of_light_m_per_s), 1e-24);
  EXPECT_NEAR(travel.terms[1].contribution_s() / travel.time_s, beta.uncertainty / beta.value, 1e-15);
  EXPECT_EQ(travel_time({0, 0}).time_s, 0);
  for (const Estimate& bad :
       {Estimate{0, 0}, Estimate{1.01, 0}, Estimate{std::nan(""), 0}, Estimate{0.5, -1}})
    EXPECT_THROW(travel_time({1, 0}, bad), Error);
  EXPECT_THROW(travel_time({-1, 0}), Error);
  EXPECT_THROW(beta_of({0, 0}, 1), Error);
  EXPECT_THROW(beta_of({1, 0}, -1), Error);
}

}  // namespace
}  // namespace firstedge
