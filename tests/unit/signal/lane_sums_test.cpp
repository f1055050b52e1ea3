// The passes over samples against plain loops: the same bits at any size and place in memory.
#include "firstedge/signal/lane_sums.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// None, one, odd, around whole groups of lanes, large.
constexpr std::array<std::size_t, 14> sizes{0, 1, 2, 3, 7, 8, 9, 15, 16, 17, 63, 64, 65, 1003};

// `offset` samples into an array, so that the first one stands at any place between two registers' borders.
struct Samples {
  std::vector<double> all;
  std::span<const double> values;
};

template <class Check>
void for_all_samples(Check&& check) {
  std::mt19937 random(20261128);
  std::normal_distribution<double> volts(0.3, 1.7);
  for (const std::size_t size : sizes) {
    for (std::size_t offset = 0; offset < 8; ++offset) {
      Samples samples{.all = std::vector<double>(size + offset), .values = {}};
      for (double& value : samples.all) value = volts(random);
      samples.values = std::span(samples.all).subspan(offset);
      SCOPED_TRACE(testing::Message() << size << " samples, from " << offset);
      check(samples.values);
    }
  }
}

// The order of the header, one addition after the other.
template <class Term>
double plain_sum(std::size_t size, Term&& term) {
  std::array<double, 8> sums{};
  for (std::size_t i = 0; i < size; ++i) sums[i % 8] += term(i);
  return ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]));
}

TEST(lane_sums, sums_have_the_bits_of_the_plain_loop) {
  constexpr double level = 0.123;
  for_all_samples([&](std::span<const double> v) {
    EXPECT_EQ(sum_of(v), plain_sum(v.size(), [&](std::size_t i) { return v[i]; }));
    const double distances = plain_sum(v.size(), [&](std::size_t i) { return v[i] - level; });
    const double squares =
        plain_sum(v.size(), [&](std::size_t i) { return (v[i] - level) * (v[i] - level); });
    EXPECT_EQ(sum_of_distances(v, level), distances);
    EXPECT_EQ(sum_of_squared_distances(v, level), squares);
    EXPECT_EQ(moments_about(v, level).distances, distances);
    EXPECT_EQ(moments_about(v, level).squares, squares);
    const std::vector<double> other(v.rbegin(), v.rend());
    EXPECT_EQ(sum_of_products(v, other), plain_sum(v.size(), [&](std::size_t i) { return v[i] * other[i]; }));
  });
}

TEST(lane_sums, sums_by_place_and_by_lag_have_the_bits_of_the_plain_loop) {
  for_all_samples([&](std::span<const double> v) {
    const double middle = 0.5 * static_cast<double>(v.size()) - 0.5;
    EXPECT_EQ(sum_by_place(v, 0.7, middle), plain_sum(v.size(), [&](std::size_t i) {
                return (static_cast<double>(i) - middle) * (v[i] - 0.7);
              }));
    for (const std::size_t first : {0, 1, 5, 13}) {
      if (v.size() < first + lags_at_once) continue;
      const auto products = lag_products(v, first);
      for (std::size_t k = 0; k < lags_at_once; ++k) {
        const std::size_t lag = first + k;
        EXPECT_EQ(products[k], plain_sum(v.size() - lag, [&](std::size_t i) { return v[i] * v[i + lag]; }));
      }
    }
  });
}

TEST(lane_sums, blocks_and_groups_have_the_bits_that_each_has_alone) {
  for_all_samples([&](std::span<const double> v) {
    for (const std::size_t block : {8, 13, 62}) {
      const auto some = v.first(std::min(v.size(), blocks_at_once * block + block / 2));
      const auto moments =
          moments_of_blocks(some.first(std::min(some.size(), blocks_at_once * block)), block);
      for (std::size_t k = 0; (k + 1) * block <= some.size() && k < blocks_at_once; ++k) {
        const Moments alone = moments_about(some.subspan(k * block, block), some[k * block]);
        EXPECT_EQ(moments[k].distances, alone.distances);
        EXPECT_EQ(moments[k].squares, alone.squares);
      }
    }
    const auto some = v.first(std::min(v.size(), groups_at_once * lanes));
    const auto sums = sums_of_groups(some);
    for (std::size_t k = 0; (k + 1) * lanes <= some.size(); ++k)
      EXPECT_EQ(sums[k], sum_of(some.subspan(k * lanes, lanes)));
  });
}

TEST(lane_sums, extremes_are_the_least_and_the_greatest_wherever_they_stand) {
  for_all_samples([&](std::span<const double> v) {
    for (std::size_t at = 0; at < std::min<std::size_t>(v.size(), 70); ++at) {
      std::vector<double> changed(v.begin(), v.end());
      changed[at] = 50;
      EXPECT_EQ(extremes_of(changed).greatest, 50);
      changed[at] = -50;
      EXPECT_EQ(extremes_of(changed).least, -50);
    }
  });
}

TEST(lane_sums, one_sample_that_is_not_finite_is_seen) {
  for_all_samples([&](std::span<const double> v) {
    EXPECT_TRUE(all_finite(v));
    for (std::size_t at = 0; at < std::min<std::size_t>(v.size(), 70); ++at) {
      std::vector<double> changed(v.begin(), v.end());
      for (const double bad :
           {std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity(),
            std::numeric_limits<double>::quiet_NaN()}) {
        changed[at] = bad;
        EXPECT_FALSE(all_finite(changed));
      }
    }
  });
}

TEST(lane_sums, the_first_sample_above_a_level_is_found_in_either_polarity) {
  const std::vector<double> quiet(1003, 0.5);
  for (const int sign : {1, -1}) {
    for (std::size_t at = 0; at < quiet.size(); at += 13) {
      std::vector<double> volts = quiet;
      for (double& v : volts) v *= sign;
      volts[at] = 2.0 * sign;
      if (at + 1 < volts.size()) volts[at + 1] = 3.0 * sign;
      for (const std::size_t from : {std::size_t{0}, at / 2, at})
        EXPECT_EQ(first_above(volts, from, sign, 1.0), at);
      EXPECT_EQ(first_above(volts, at + 2, sign, 1.0), volts.size());
      EXPECT_EQ(first_above(volts, 0, sign, 3.0), volts.size());  // equal is not above
    }
  }
  EXPECT_EQ(first_above({}, 0, 1, 0.0), 0U);
}

TEST(lane_sums, a_sample_that_is_no_number_hides_no_pulse) {
  std::vector<double> volts(200, 0.0);
  volts[64] = std::numeric_limits<double>::quiet_NaN();
  volts[130] = 2;
  EXPECT_EQ(first_above(volts, 0, 1, 1.0), 130U);
}

TEST(lane_sums, levels_and_predictions_are_taken_away_sample_by_sample) {
  for_all_samples([&](std::span<const double> v) {
    std::vector<double> changed(v.begin(), v.end());
    take_away(changed, 0.7);
    for (std::size_t i = 0; i < v.size(); ++i) EXPECT_EQ(changed[i], v[i] - 0.7);
    if (v.empty()) return;
    std::vector<double> white(v.begin(), v.end());
    prewhiten(white, 0.4);
    for (std::size_t i = 0; i + 1 < white.size(); ++i) EXPECT_EQ(white[i], v[i + 1] - 0.4 * v[i]);
    EXPECT_EQ(white.back(), v.back());
  });
}

TEST(lane_sums, correlations_have_the_bits_of_the_plain_loop) {
  for_all_samples([&](std::span<const double> v) {
    for (const std::size_t count : {1, 2, 5, 8, 31}) {
      std::vector<double> weights;
      for (std::size_t k = 0; k < count; ++k) weights.push_back(0.3 - 0.07 * static_cast<double>(k));
      if (v.size() < count) continue;
      std::vector<double> sums(v.size() - count + 1);
      correlate(v, weights, sums);
      for (std::size_t i = 0; i < sums.size(); ++i) {
        double sum = 0;
        for (std::size_t k = 0; k < count; ++k) sum += weights[k] * v[i + k];
        EXPECT_EQ(sums[i], sum);
      }
    }
  });
}

TEST(lane_sums, eight_rows_at_once_have_the_bits_of_each_alone) {
  for_all_samples([&](std::span<const double> v) {
    if (v.size() > 70) return;
    std::vector<double> rows(v.size() * lanes);
    std::array<std::vector<double>, lanes> alone;
    for (std::size_t j = 0; j < lanes; ++j) {
      const std::size_t size = v.size() - std::min(v.size(), j);  // some are shorter
      for (std::size_t k = 0; k < size; ++k) {
        alone[j].push_back(std::sin(static_cast<double>(7 * k + j)));
        rows[k * lanes + j] = alone[j].back();
      }
    }
    const auto products = products_with_eight(rows, v);
    for (std::size_t j = 0; j < lanes; ++j)
      EXPECT_EQ(products[j], sum_of_products(alone[j], v.first(alone[j].size())));
  });
}

}  // namespace
}  // namespace firstedge
