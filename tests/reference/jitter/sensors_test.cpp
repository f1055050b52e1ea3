// Three-sensor unfolding against a published worked example and simulated truth; jitter against height
// against its law.
#include "firstedge/jitter/sensors.hpp"

#include "firstedge/jitter/jitter.hpp"
#include "firstedge/jitter/pairs.hpp"
#include "firstedge/stats/height_dependence.hpp"
#include "firstedge/stats/spread.hpp"

#include "support/random.hpp"
#include "support/result_parts.hpp"
#include "support/simulated_stamps.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::vector<double> diagonal(const std::vector<double>& variances) {
  std::vector<double> matrix(variances.size() * variances.size(), 0.0);
  for (std::size_t i = 0; i < variances.size(); ++i) matrix[i * variances.size() + i] = variances[i];
  return matrix;
}

// Worked example of the three-cornered hat, febo.com time-nuts 2013-May 076139: 6, 8 and 10e-12 give pairs of
// 1.00, 1.28 (B C) and 1.17e-11 (A C); unrounded 1.28062485 and 1.16619038 (recomputed).
TEST(sensors_reference, three_sensors_by_the_published_example) {
  const std::vector<double> pairs{1.0e-11, 1.16619038e-11, 1.28062485e-11};  // AB, AC, BC
  std::vector<double> variances;
  for (const double width : pairs) variances.push_back(width * width);
  const Unfolding found = unfold(3, variances, diagonal({1e-48, 2e-48, 3e-48}));
  const double truth[] = {6e-12, 8e-12, 10e-12};
  for (std::size_t i = 0; i < 3; ++i) EXPECT_NEAR(found.resolution[i].value, truth[i], 1e-8 * truth[i]);
  EXPECT_EQ(found.degrees_of_freedom, 0);
  // u^2(s_A^2) = (1 + 2 + 3)/4 for independent pair variances (derived from the formula).
  EXPECT_NEAR(found.variance[0].uncertainty, std::sqrt(1.5e-48), 1e-10 * 1e-24);
  // The rounded pairs give back 6.0436, 7.9671, 10.0182e-12 (recomputed): half of the last digit.
  std::vector<double> rounded;
  for (const double width : {1.00e-11, 1.17e-11, 1.28e-11}) rounded.push_back(width * width);
  const Unfolding back = unfold(3, rounded, diagonal({1e-48, 1e-48, 1e-48}));
  EXPECT_NEAR(back.resolution[0].value, 6.0436e-12, 0.5e-16);
  EXPECT_NEAR(back.resolution[1].value, 7.9671e-12, 0.5e-16);
  EXPECT_NEAR(back.resolution[2].value, 10.0182e-12, 0.5e-16);
}

// Two equal detectors: spread/sqrt(2) (textbook); from a table of two channels.
TEST(sensors_reference, two_equal_sensors) {
  JitterStamps stamps({"S1", "S2"}, {"m"});
  stamps.add(test::normal_stamps({50e-12, 50e-12}, 5000, 12));
  const Result result = analyse_jitter(std::move(stamps), {.bootstrap = {.resamples = 100}});
  const Estimate one = test::cell_of(test::table_of(result, "sensors"), 0, "resolution_by_deviation");
  EXPECT_NEAR(one.value, 50e-12, 4 * one.uncertainty);
  EXPECT_NEAR(one.uncertainty, 50e-12 / std::sqrt(2 * 5000.0), 0.3 * 0.5e-12);
}

TEST(sensors_reference, twenty_thousand_triples_of_30_55_and_80_ps) {
  const std::vector<double> truth{30e-12, 55e-12, 80e-12};
  JitterStamps stamps({"S1", "S2", "S3"}, {"m"});
  stamps.add(test::normal_stamps(truth, 20'000, 2026));
  const Result result = analyse_jitter(std::move(stamps), {.bootstrap = {.resamples = 150}});
  const Table& sensors = test::table_of(result, "sensors");
  for (std::size_t i = 0; i < truth.size(); ++i) {
    for (const char* column : {"resolution", "resolution_by_deviation"}) {
      const Estimate found = test::cell_of(sensors, i, column);
      // Within its stated uncertainty: two of them, as a fixed seed must not be at the mercy of one in three.
      EXPECT_NEAR(found.value, truth[i], 2 * found.uncertainty) << column << ' ' << i;
      EXPECT_LT(found.uncertainty, 2e-12);
    }
  }
}

// Closed form for normal errors (derived): u^2(s_A^2) = [2 s_A^4 + (s_A^2 s_B^2 + s_A^2 s_C^2 + s_B^2 s_C^2)]
// /(n - 1), since s_A^2 is the covariance of the differences A - B and A - C.
double closed_uncertainty(double a, double b, double c, double n) {
  const double square = 2 * std::pow(a, 4) + a * a * b * b + a * a * c * c + b * b * c * c;
  return std::sqrt(square / (n - 1)) / (2 * a);
}

TEST(sensors_reference, the_stated_uncertainties_hold_over_many_runs) {
  constexpr std::size_t records = 1000;
  constexpr std::size_t runs = 100;
  const double truth[] = {30e-12, 55e-12, 80e-12};
  std::vector<double> deviation_pulls[3], core_pulls[3], stated[3];
  for (std::uint64_t seed = 1; seed <= runs; ++seed) {
    std::vector<std::vector<double>> times(3);
    for (const Stamp& stamp : test::normal_stamps({truth[0], truth[1], truth[2]}, records, seed))
      times[stamp.channel].push_back(stamp.time_s);
    const SensorResolutions found = sensor_resolutions(times, {}, {.resamples = 100, .seed = seed});
    for (std::size_t i = 0; i < 3; ++i) {
      // Pulls of the variance, in which the unfolding is linear; the root is skewed where it is poorly known.
      const auto pull = [&](const Unfolding& by) {
        return (by.variance[i].value - truth[i] * truth[i]) / by.variance[i].uncertainty;
      };
      deviation_pulls[i].push_back(pull(found.by_deviation));
      core_pulls[i].push_back(pull(found.by_core));
      stated[i].push_back(found.by_deviation.variance[i].uncertainty);
    }
  }
  for (std::size_t i = 0; i < 3; ++i) {
    for (const auto& pulls : {deviation_pulls[i], core_pulls[i]}) {
      const Moments spread = moments(pulls);
      EXPECT_NEAR(spread.mean.value, 0, 4 * spread.mean.uncertainty) << i;
      // Four standard errors, and 1/sqrt(200) = 7 % scatter of each bootstrap error widens by 0.25 %.
      EXPECT_NEAR(spread.deviation.value, 1, 4 * spread.deviation.uncertainty) << i;
    }
    const double a = truth[i];
    const double b = truth[(i + 1) % 3];
    const double c = truth[(i + 2) % 3];
    // Mean of 100 bootstrap errors of 7 % scatter each, and of the sample's own: four of 1 %.
    EXPECT_NEAR(moments(stated[i]).mean.value / (2 * a * closed_uncertainty(a, b, c, records)), 1, 0.04) << i;
  }
}

TEST(sensors_reference, five_sensors_by_least_squares_and_a_shared_error_is_told) {
  const double truth[] = {20e-12, 30e-12, 40e-12, 50e-12, 60e-12};
  std::vector<std::vector<double>> times(5);
  for (const Stamp& stamp : test::normal_stamps({truth[0], truth[1], truth[2], truth[3], truth[4]}, 3000, 77))
    times[stamp.channel].push_back(stamp.time_s);
  const BootstrapOptions options{.resamples = 200};
  const SensorResolutions found = sensor_resolutions(times, {}, options);
  EXPECT_EQ(found.by_deviation.degrees_of_freedom, 5);
  EXPECT_GT(found.by_deviation.probability, 1e-3);
  for (std::size_t i = 0; i < 5; ++i)
    EXPECT_NEAR(found.by_deviation.resolution[i].value, truth[i],
                4 * found.by_deviation.resolution[i].uncertainty);
  test::Random random(5);
  for (std::size_t r = 0; r < times[0].size(); ++r) {
    const double shared = random.normal(0, 25e-12);
    times[3][r] += shared;
    times[4][r] += shared;
  }
  EXPECT_LT(sensor_resolutions(times, {}, options).by_deviation.probability, 1e-3);
}

// sigma^2 = (a/height)^2 + b^2 with a = 6 V ps and b = 20 ps; heights even over 0.1 V to 1 V.
PairSample pair_with_law(double a, double b, std::size_t pairs, std::uint64_t seed) {
  test::Random random(seed);
  PairSample sample;
  for (std::size_t i = 0; i < pairs; ++i) {
    const double height = random.uniform(0.1, 1);
    sample.record.push_back(i);
    sample.lower_height_v.push_back(height);
    sample.difference_s.push_back(random.normal(1e-9, std::hypot(a / height, b)));
    sample.stated_s.push_back(1e-12);
    sample.bound_s.push_back(std::hypot(a / height, b));
  }
  return sample;
}

HeightDependence law_of(const PairSample& sample, const BootstrapOptions& options) {
  return height_dependence({sample.difference_s, sample.lower_height_v, sample.bound_s}, 8, options);
}

TEST(height_reference, the_law_is_found_with_true_uncertainties) {
  constexpr std::size_t runs = 60;
  constexpr double a = 6e-12;
  constexpr double b = 20e-12;
  std::vector<double> pulls_a, pulls_b, probability;
  for (std::uint64_t seed = 1; seed <= runs; ++seed) {
    const HeightDependence found = law_of(pair_with_law(a, b, 4000, seed), {.resamples = 100, .seed = seed});
    ASSERT_EQ(found.bins.size(), 8U);
    pulls_a.push_back((found.a_squared_v2_s2.value - a * a) / found.a_squared_v2_s2.uncertainty);
    pulls_b.push_back((found.b_squared_s2.value - b * b) / found.b_squared_s2.uncertainty);
    probability.push_back(found.probability);
  }
  for (const auto& pulls : {pulls_a, pulls_b}) {
    // Weights from the measured spreads pull low by about 1/sqrt(bin) sigma each: 0.3 over eight bins of 500.
    EXPECT_NEAR(moments(pulls).mean.value, 0, 4 / std::sqrt(runs) + 0.3);
    EXPECT_NEAR(moments(pulls).deviation.value, 1, 4 / std::sqrt(2.0 * runs) + 0.1);
  }
  // Bad chi-squares would pile up near 0: mean 0.5 +- 0.29/sqrt(60), four of them.
  EXPECT_NEAR(moments(probability).mean.value, 0.5, 0.15);
}

TEST(height_reference, no_constant_term_is_compatible_with_zero) {
  const HeightDependence found = law_of(pair_with_law(6e-12, 0, 4000, 3), {.resamples = 100});
  EXPECT_NEAR(found.b_squared_s2.value, 0, 4 * found.b_squared_s2.uncertainty);
  EXPECT_NEAR(found.a_v_s.value, 6e-12, 4 * found.a_v_s.uncertainty);
  for (const HeightBin& bin : found.bins)
    EXPECT_NEAR(found.sigma_s(bin.effective_height_v()), bin.spread_s.value, 5 * bin.spread_s.uncertainty);
}

}  // namespace
}  // namespace firstedge
