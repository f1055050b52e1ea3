// What the jitter analysis promises: nothing lost without a count, names checked, the same result every time.
#include "firstedge/jitter/jitter.hpp"

#include "firstedge/core/error.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

// One stamp a channel and record, normal with the sigmas given; the bound and the stated uncertainty are the
// sigmas.
std::vector<Stamp> normal_stamps(const std::vector<double>& sigmas, std::size_t records, std::uint64_t seed) {
  test::Random random(seed);
  std::vector<Stamp> stamps;
  for (std::size_t record = 0; record < records; ++record) {
    for (std::size_t channel = 0; channel < sigmas.size(); ++channel) {
      Stamp stamp{.record = record, .channel = static_cast<std::uint16_t>(channel)};
      stamp.time_s = 1e-9 * static_cast<double>(channel) + random.normal(0, sigmas[channel]);
      stamp.uncertainty_s = stamp.bound_s = sigmas[channel];
      stamp.height_v = random.uniform(0.1, 1);
      stamps.push_back(stamp);
    }
  }
  return stamps;
}

JitterStamps gathered(const std::vector<Stamp>& stamps, std::size_t channels) {
  std::vector<std::string> names{"S1", "S2", "S3", "S4"};
  names.resize(channels);
  JitterStamps columns(names, {"constant_fraction"});
  columns.add(stamps);
  return columns;
}

const Table& table_of(const Result& result, const std::string& key) {
  const auto found = std::find_if(result.tables.begin(), result.tables.end(),
                                  [&](const Table& table) { return table.key == key; });
  if (found == result.tables.end()) throw std::out_of_range("no table " + key);
  return *found;
}

double figure_of(const Result& result, const std::string& key) {
  const auto found = std::find_if(result.figures.begin(), result.figures.end(),
                                  [&](const Figure& figure) { return figure.key == key; });
  if (found == result.figures.end()) throw std::out_of_range("no figure " + key);
  return found->estimate.value;
}

TEST(jitter, a_normal_pair_has_its_spread_its_bound_and_true_pulls) {
  const Result result = analyse_jitter(gathered(normal_stamps({30e-12, 40e-12}, 4000, 7), 2),
                                       {.bootstrap = {.resamples = 200}});
  // Five standard errors of 50 ps/sqrt(2 * 4000).
  EXPECT_NEAR(figure_of(result, "standard_deviation"), 50e-12, 5 * 0.56e-12);
  EXPECT_NEAR(figure_of(result, "mean"), -1e-9, 5 * 0.8e-12);
  EXPECT_NEAR(figure_of(result, "bound"), 50e-12, 1e-20);
  // Five binomial standard errors.
  EXPECT_NEAR(figure_of(result, "pulls_within_1"), 0.6827, 5 * 0.0074);
  EXPECT_TRUE(result.warnings.empty()) << testing::PrintToString(result.warnings);
  EXPECT_THAT(result.answer, testing::HasSubstr("S1 − S2"));
  EXPECT_EQ(table_of(result, "pairs").rows.size(), 1U);
}

}  // namespace
}  // namespace firstedge
