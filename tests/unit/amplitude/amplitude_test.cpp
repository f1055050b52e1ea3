// What the amplitude analysis promises: nothing lost without a count, names checked, clipped pulses told.
#include "firstedge/amplitude/amplitude.hpp"

#include "firstedge/core/error.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

double figure_of(const Result& result, const std::string& key) {
  const auto found = std::find_if(result.figures.begin(), result.figures.end(),
                                  [&](const Figure& figure) { return figure.key == key; });
  if (found == result.figures.end()) throw std::out_of_range("no figure " + key);
  return found->estimate.value;
}

TEST(amplitude, clipped_pulses_are_counted_and_not_fitted) {
  test::Random random(3);
  std::vector<Stamp> stamps;
  for (std::size_t record = 0; record < 1000; ++record) {
    Stamp stamp{.record = record};
    stamp.height_v = std::min(random.normal(0.3, 0.05), 0.35);
    if (stamp.height_v == 0.35) stamp.flags |= Flag::clipped;
    stamp.charge_c = 1e-12 * stamp.height_v;
    stamp.noise_v = 1e-3;
    stamps.push_back(stamp);
  }
  AmplitudePulses pulses({"S1"});
  pulses.add(stamps);
  const Result result = analyse_amplitude(pulses);
  EXPECT_EQ(figure_of(result, "pulses_1"), 1000);
  // Five binomial standard errors around the share of a normal distribution over one sigma.
  EXPECT_NEAR(figure_of(result, "clipped_share_1"), 0.1587, 5 * 0.0116);
}

}  // namespace
}  // namespace firstedge
