// Stability: gaps, edges and bad input as the headers decide them, and each sum against its plain twin.
#include "firstedge/stats/stability.hpp"

#include "firstedge/stats/power_law_noise.hpp"
#include "firstedge/stats/stability_freedom.hpp"
#include "firstedge/stats/stability_interval.hpp"

#include "support/power_law_noise.hpp"
#include "support/random.hpp"
#include "support/sentence_of.hpp"

#include <cmath>
#include <limits>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using Measure = StabilityMeasure;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr Measure every_measure[] = {
    Measure::allan,      Measure::overlapping_allan,    Measure::modified_allan, Measure::time,
    Measure::hadamard,   Measure::overlapping_hadamard, Measure::total,          Measure::modified_total,
    Measure::time_total, Measure::hadamard_total};

std::vector<double> white_phase(std::size_t points, std::uint64_t seed) {
  test::Random random(seed);
  return test::power_law_phase(PowerLaw::white_phase, points, random);
}

// The definition, term by term, with no running sums.
double plain_time_deviation(const std::vector<double>& x, std::size_t m) {
  double squares = 0;
  double terms = 0;
  for (std::size_t j = 0; j + 3 * m <= x.size(); ++j) {
    double sum = 0;
    double there = 0;
    for (std::size_t i = j; i < j + m; ++i) {
      const double difference = x[i + 2 * m] - 2 * x[i + m] + x[i];
      if (std::isnan(difference)) continue;
      sum += difference;
      ++there;
    }
    if (2 * there < static_cast<double>(m)) continue;
    squares += std::pow(sum / there, 2);
    ++terms;
  }
  return std::sqrt(squares / terms / 6);
}

TEST(stability, time_deviation_equals_its_plain_twin_with_and_without_gaps) {
  for (const std::size_t points : {3, 4, 17, 60}) {
    for (const std::size_t every : {0, 11, 5}) {
      std::vector<double> x = white_phase(points, points);
      for (std::size_t i = 1; every > 0 && i + 1 < points; i += every) x[i] = nan;
      for (std::size_t m = 1; 3 * m <= points; ++m) {
        const double ours = stability_at(x, 2, Measure::time, m).deviation;
        const double plain = plain_time_deviation(x, m);
        if (std::isnan(plain)) {
          EXPECT_TRUE(std::isnan(ours));
        } else {
          EXPECT_NEAR(ours, plain, 1e-13 * points);  // rounding of the running sums
        }
      }
    }
  }
}

TEST(stability, the_number_of_terms_is_what_stability_terms_says) {
  for (const std::size_t points : {0, 1, 2, 3, 4, 10, 31}) {
    const std::vector<double> x = white_phase(points, 5);
    for (const Measure measure : every_measure) {
      for (std::size_t m = 1; m <= points + 1; ++m) {
        const StabilityPoint point = stability_at(x, 1, measure, m);
        EXPECT_EQ(point.terms, stability_terms(measure, points, m)) << words_of(measure) << m << points;
        EXPECT_EQ(std::isnan(point.deviation), point.terms == 0);
        EXPECT_EQ(point.present, point.terms == 0 ? 0 : 1);
      }
    }
  }
}

// Property: x + constant + slope t has the same deviations; a drift leaves the Hadamard kinds alone.
TEST(stability, an_offset_and_a_slope_make_no_difference) {
  const std::vector<double> x = white_phase(64, 3);
  std::vector<double> sloped = x;
  std::vector<double> drifting = x;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const auto t = static_cast<double>(i);
    sloped[i] += 40 + 3 * t;
    drifting[i] += 0.2 * t * t;
  }
  for (const Measure measure : every_measure) {
    for (const std::size_t m : {1, 4, 16}) {
      const double before = stability_at(x, 1, measure, m).deviation;
      // Rounding of values 250 times the noise, and again by the sums.
      EXPECT_NEAR(stability_at(sloped, 1, measure, m).deviation, before, 1e-11) << words_of(measure);
      if (measure == Measure::hadamard || measure == Measure::overlapping_hadamard) {
        EXPECT_NEAR(stability_at(drifting, 1, measure, m).deviation, before, 1e-11);
      } else if (measure == Measure::overlapping_allan && m == 16) {
        EXPECT_GT(stability_at(drifting, 1, measure, m).deviation, 10 * before);
      }
    }
  }
}

TEST(stability, deviations_scale_with_the_values_and_with_the_interval) {
  const std::vector<double> x = white_phase(50, 4);
  std::vector<double> tenfold = x;
  for (double& value : tenfold) value *= 10;
  for (const Measure measure : every_measure) {
    const double before = stability_at(x, 1, measure, 3).deviation;
    const bool in_seconds = measure == Measure::time || measure == Measure::time_total;
    EXPECT_NEAR(stability_at(tenfold, 1, measure, 3).deviation, 10 * before, 1e-11);
    EXPECT_NEAR(stability_at(x, 4, measure, 3).deviation, in_seconds ? before : before / 4, 1e-12);
  }
}

// A gap takes away the terms that need it and moves no other: what is left agrees with the whole within the
// scatter of the terms that are gone.
TEST(stability, gaps_cost_terms_and_bias_nothing) {
  test::Random random(8);
  for (const PowerLaw noise : {PowerLaw::white_phase, PowerLaw::white_frequency}) {
    for (const Measure measure :
         {Measure::allan, Measure::overlapping_allan, Measure::overlapping_hadamard, Measure::total}) {
      double with_gaps = 0;
      double whole = 0;
      for (int toy = 0; toy < 300; ++toy) {
        std::vector<double> x = test::power_law_phase(noise, 200, random);
        whole += std::pow(stability_at(x, 1, measure, 8).deviation, 2);
        for (std::size_t i = 20; i < 180; ++i)
          if (random.uniform(0, 1) < 0.2 || (i > 90 && i < 110)) x[i] = nan;
        const StabilityPoint point = stability_at(x, 1, measure, 8);
        EXPECT_LT(point.terms, stability_terms(measure, 200, 8));
        EXPECT_NEAR(point.present,
                    static_cast<double>(point.terms) / static_cast<double>(stability_terms(measure, 200, 8)),
                    1e-12);
        with_gaps += std::pow(point.deviation, 2);
      }
      // About 10 degrees of freedom a series at least: 300 of them scatter by sqrt(2/3000), 3.5 times that.
      EXPECT_NEAR(with_gaps / whole, 1, 3.5 * 0.026) << words_of(noise) << words_of(measure);
    }
  }
}

TEST(stability, scattered_gaps_raise_the_time_variance_of_white_phase_by_the_share_that_is_there) {
  test::Random random(9);
  double raised = 0;
  double whole = 0;
  double present = 0;
  constexpr int toys = 300;
  for (int toy = 0; toy < toys; ++toy) {
    std::vector<double> x = test::power_law_phase(PowerLaw::white_phase, 200, random);
    whole += std::pow(stability_at(x, 1, Measure::time, 8).deviation, 2);
    for (std::size_t i = 1; i < 199; ++i)
      if (random.uniform(0, 1) < 0.1) x[i] = nan;
    const StabilityPoint point = stability_at(x, 1, Measure::time, 8);
    raised += std::pow(point.deviation, 2);
    present += point.present / toys;
  }
  EXPECT_NEAR(present, 0.73, 0.03);  // 0.9^3, and what the rule of one half keeps out
  // 25 degrees of freedom a series: sqrt(2 (1 + 1)/(25 * 300)), 3.5 times that; and the spread of the shares.
  EXPECT_NEAR(raised / whole * present, 1, 3.5 * 0.023 + 0.03);
}

TEST(stability, gaps_at_the_ends_are_cut_off) {
  std::vector<double> x = white_phase(40, 6);
  const double before = stability_at(x, 1, Measure::total, 4).deviation;
  x.insert(x.begin(), 3, nan);
  x.insert(x.end(), 5, nan);
  EXPECT_EQ(stability_at(x, 1, Measure::total, 4).deviation, before);
  const std::vector<double> nothing(7, nan);
  for (const Measure measure : every_measure) {
    EXPECT_TRUE(std::isnan(stability_at(nothing, 1, measure, 1).deviation));
    EXPECT_TRUE(stability(nothing, 1, {.measure = measure}).empty());
  }
}

TEST(stability, averaging_factors_lie_as_asked_and_end_with_the_last_that_has_a_term) {
  EXPECT_THAT(averaging_factors(Measure::overlapping_allan, 33, FactorSpacing::octave),
              ElementsAre(1, 2, 4, 8, 16));
  EXPECT_THAT(averaging_factors(Measure::overlapping_allan, 101, FactorSpacing::decade),
              ElementsAre(1, 2, 5, 10, 20, 50));
  EXPECT_THAT(averaging_factors(Measure::modified_allan, 15, FactorSpacing::all), ElementsAre(1, 2, 3, 4, 5));
  EXPECT_THAT(averaging_factors(Measure::overlapping_hadamard, 13, FactorSpacing::all),
              ElementsAre(1, 2, 3, 4));
  EXPECT_TRUE(averaging_factors(Measure::allan, 2, FactorSpacing::octave).empty());
  const auto many = averaging_factors(Measure::overlapping_allan, 100'001, FactorSpacing::all, 100);
  ASSERT_EQ(many.size(), 100U);
  EXPECT_EQ(many[0], 1U);
  EXPECT_EQ(many[1] - many[0], many[99] - many[98]);
}

TEST(stability, senseless_input_is_refused_in_one_sentence) {
  const std::vector<double> x = white_phase(10, 1);
  const auto sentence = [&](double interval, std::size_t factor) {
    return test::sentence_of([&] { stability_at(x, interval, Measure::allan, factor); });
  };
  EXPECT_THAT(sentence(0, 1), HasSubstr("not positive"));
  EXPECT_THAT(sentence(nan, 1), HasSubstr("not positive"));
  EXPECT_THAT(sentence(1, 0), HasSubstr("factor is 0"));
  EXPECT_THAT(test::sentence_of([&] { stability(x, 1, {.coverage = 1}); }), HasSubstr("coverage"));
  const std::vector<double> long_series(400'000, 0.0);
  EXPECT_THAT(test::sentence_of([&] { stability_at(long_series, 1, Measure::time_total, 100'000); }),
              HasSubstr("too long"));
  EXPECT_EQ(stability_at(x, 1, Measure::allan, std::numeric_limits<std::size_t>::max()).terms, 0U);
}

TEST(power_law_noise, each_simulated_noise_is_found) {
  for (const bool averaged : {false, true}) {
    for (const PowerLaw noise :
         {PowerLaw::white_phase, PowerLaw::white_frequency, PowerLaw::random_walk_frequency}) {
      int right = 0;
      for (std::uint64_t seed = 1; seed <= 100; ++seed) {
        test::Random random(seed);
        const auto found =
            power_law_noise(test::power_law_phase(noise, 512, random), 4, {.averaged = averaged});
        ASSERT_TRUE(found.has_value());
        right += found->noise == noise ? 1 : 0;
      }
      EXPECT_GE(right, 80) << words_of(noise);  // the header's 85 % less a margin of the sample
    }
  }
}

TEST(power_law_noise, gaps_change_little_and_too_few_points_give_nothing) {
  test::Random random(4);
  std::vector<double> x = test::power_law_phase(PowerLaw::white_frequency, 400, random);
  for (std::size_t i = 10; i < 390; i += 7) x[i] = nan;
  EXPECT_EQ(power_law_noise(x, 1)->noise, PowerLaw::white_frequency);
  EXPECT_FALSE(power_law_noise(white_phase(29, 1), 1).has_value());
  EXPECT_TRUE(power_law_noise(white_phase(30, 1), 1).has_value());
  EXPECT_FALSE(power_law_noise(white_phase(100, 1), 4).has_value());
  const std::vector<double> constant(100, 3.0);
  EXPECT_FALSE(power_law_noise(constant, 1).has_value());
  EXPECT_FALSE(power_law_noise(std::vector<double>{}, 1).has_value());
}

TEST(stability, the_noise_gets_no_less_steep_with_averaging_time_and_lasts_to_the_end) {
  test::Random random(12);
  std::vector<double> x = test::power_law_phase(PowerLaw::white_phase, 2000, random);
  const std::vector<double> walk = test::power_law_phase(PowerLaw::random_walk_frequency, 2000, random);
  for (std::size_t i = 0; i < x.size(); ++i) x[i] += 0.003 * walk[i];
  const auto found = stability(x, 1, {.measure = Measure::time});
  ASSERT_GE(found.size(), 7U);
  EXPECT_EQ(found.front().noise, PowerLaw::white_phase);
  EXPECT_EQ(found.back().noise, PowerLaw::random_walk_frequency);
  for (std::size_t i = 1; i < found.size(); ++i) {
    EXPECT_LE(*found[i].noise, *found[i - 1].noise);
    EXPECT_LT(found[i].interval.low, found[i].point.deviation);
    EXPECT_GT(found[i].interval.high, found[i].point.deviation);
  }
}

TEST(stability, a_series_too_short_for_its_noise_has_deviations_without_intervals) {
  const auto found = stability(white_phase(20, 2), 1, {.measure = Measure::overlapping_allan});
  ASSERT_FALSE(found.empty());
  EXPECT_FALSE(found.front().noise.has_value());
  EXPECT_TRUE(std::isnan(found.front().interval.low));
  EXPECT_GT(found.front().point.deviation, 0);
}

TEST(stability, degrees_of_freedom_are_at_least_one_and_at_most_the_terms) {
  for (const Measure measure : {Measure::allan, Measure::overlapping_allan, Measure::modified_allan,
                                Measure::hadamard, Measure::overlapping_hadamard}) {
    for (int alpha = -4; alpha <= 2; ++alpha) {
      for (const std::size_t m : {1, 3, 20, 600, 33'000}) {
        const std::size_t terms = stability_terms(measure, 100'000, m);
        const double freedom = degrees_of_freedom(measure, static_cast<PowerLaw>(alpha), 100'000, m);
        EXPECT_GE(freedom, 1) << words_of(measure) << alpha << m;
        EXPECT_LE(freedom, static_cast<double>(terms) + 1e-9);
      }
      EXPECT_TRUE(std::isnan(degrees_of_freedom(measure, static_cast<PowerLaw>(alpha), 10, 9)));
    }
  }
}

// The limit taken beyond factor 512 joins what is computed in full below it.
TEST(stability, degrees_of_freedom_change_smoothly_where_the_limit_begins) {
  for (const Measure measure : {Measure::overlapping_allan, Measure::overlapping_hadamard}) {
    for (const PowerLaw noise :
         {PowerLaw::white_frequency, PowerLaw::flicker_frequency, PowerLaw::random_walk_frequency}) {
      const double below = degrees_of_freedom(measure, noise, 512 * 100, 512);
      const double above = degrees_of_freedom(measure, noise, 513 * 100, 513);
      EXPECT_NEAR(above / below, 1, 3e-3) << words_of(noise);
    }
  }
}

}  // namespace
}  // namespace firstedge
