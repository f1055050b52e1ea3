// Weighted means and consistency against published combinations.
#include "firstedge/stats/combination.hpp"

#include "firstedge/core/error.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// Charged-kaon mass, MeV: inputs as the Particle Data Group lists them (from memory); it prints 493.677 +-
// 0.013 with S = 2.4 (pdglive.lbl.gov, node S010). Digits beyond by an independent computation.
const std::vector<Estimate> kaon_mass{{493.696, 0.007}, {493.636, 0.011}, {493.640, 0.054},
                                      {493.670, 0.029}, {493.657, 0.020}, {493.691, 0.040}};

TEST(combination_reference, the_mass_of_the_charged_kaon) {
  const WeightedMean all = weighted_mean(kaon_mass);
  EXPECT_NEAR(all.mean.value, 493.67660, 5e-6);
  EXPECT_NEAR(all.mean.uncertainty, 0.00547753, 5e-9);
  EXPECT_NEAR(all.chi_square, 22.90480, 5e-6);
  EXPECT_EQ(all.degrees_of_freedom, 5U);
  EXPECT_NEAR(all.probability, 3.52e-4, 5e-7);
  const double scale = scale_factor(kaon_mass);
  EXPECT_NEAR(scale, 2.36858, 5e-6);  // 2.4 in print; the result of 0.054 is beyond 3 sqrt(6) u = 0.04025
  EXPECT_NEAR(scale * all.mean.uncertainty, 0.01297, 5e-6);  // 0.013 in print
}

// M. G. Cox, Metrologia 39 (2002) 589: formula from memory, numbers derived from the masses above.
TEST(combination_reference, the_degree_of_equivalence_of_a_part_of_the_mean) {
  const Estimate first = distance_from_mean(kaon_mass, 0);
  EXPECT_NEAR(first.value, 0.0194, 5e-5);
  EXPECT_NEAR(first.uncertainty, 0.0043585, 5e-8);
  EXPECT_NEAR(first.value / first.uncertainty, 4.45, 5e-3);
}

// The gravitational constant of CODATA 2018, 1e-11 m3 kg-1 s-2: 16 inputs from memory; printed 6.67430(15)
// with an expansion factor of 3.9, random-effects mean 6.67399. Digits beyond by an independent computation
// that leaves correlations out.
TEST(combination_reference, the_gravitational_constant) {
  const std::vector<Estimate> values{
      {6.67248, 43e-5}, {6.6729, 50e-5},  {6.67398, 70e-5},   {6.674255, 9.2e-5},
      {6.67559, 27e-5}, {6.67422, 98e-5}, {6.67387, 27e-5},   {6.67222, 87e-5},
      {6.67425, 12e-5}, {6.67349, 18e-5}, {6.67260, 25e-5},   {6.67554, 16e-5},
      {6.67191, 99e-5}, {6.67435, 13e-5}, {6.674184, 7.8e-5}, {6.674484, 7.8e-5}};
  const WeightedMean all = weighted_mean(values);
  EXPECT_NEAR(all.mean.value, 6.6742887, 5e-8);
  EXPECT_NEAR(all.mean.value, 6.67430, 1.5e-5);  // in print, with correlations
  EXPECT_NEAR(all.mean.uncertainty, 3.77e-5, 5e-8);
  EXPECT_NEAR(all.chi_square, 197.68, 5e-3);
  EXPECT_NEAR(all.birge_ratio, 3.630, 5e-4);
  EXPECT_NEAR(3.9 * all.mean.uncertainty, 0.000147, 5e-7);  // 15e-5 in print
  const RandomEffects moments = random_effects_by_moments(values);
  EXPECT_NEAR(moments.mean.value, 6.6739930, 5e-8);  // 6.67399 in print
  EXPECT_NEAR(moments.between, 0.00055609, 5e-9);
  const RandomEffects consistent = random_effects_by_consistency(values);
  EXPECT_NEAR(consistent.mean.value, 6.6738904, 5e-8);
  EXPECT_NEAR(consistent.between, 0.00096156, 5e-9);
}

// Closed form: (x1 - x2)^2/(u1^2 + u2^2 - 2 cov).
TEST(combination_reference, a_shared_part_drops_out_of_a_difference) {
  EXPECT_DOUBLE_EQ(chi_square_of_difference({1, 3}, {6, 4}), 1);
  const double shared = 2;  // in both, fully correlated
  EXPECT_NEAR(
      chi_square_of_difference({1, std::hypot(3, shared)}, {6, std::hypot(4, shared)}, shared * shared), 1,
      1e-14);
  EXPECT_THROW(chi_square_of_difference({1, 3}, {6, 3}, 9), Error);
}

TEST(combination_reference, results_that_agree_need_no_scale_and_no_spread_of_their_own) {
  const std::vector<Estimate> agree{{1.0, 0.1}, {1.05, 0.1}, {0.95, 0.2}};
  EXPECT_EQ(scale_factor(agree), 1);
  EXPECT_EQ(random_effects_by_moments(agree).between, 0);
  EXPECT_EQ(random_effects_by_consistency(agree).between, 0);
  EXPECT_DOUBLE_EQ(random_effects_by_moments(agree).mean.value, weighted_mean(agree).mean.value);
  EXPECT_TRUE(std::isnan(weighted_mean(std::vector<Estimate>{{1, 1}}).probability));
  EXPECT_THROW(weighted_mean({}), Error);
  EXPECT_THROW(weighted_mean(std::vector<Estimate>{{1, 0}}), Error);
  EXPECT_THROW(random_effects_by_moments(std::vector<Estimate>{{1, 1}}), Error);
}

}  // namespace
}  // namespace firstedge
