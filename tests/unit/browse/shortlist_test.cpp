// Claims of the shortlists: the lowest ranks in any order, a fair choice by lot, turns that treat lists
// alike.
#include "firstedge/browse/shortlist.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

PulseName pulse(std::uint64_t record) {
  return {.record = record, .channel = 0, .pulse = 0};
}

TEST(shortlist, keeps_the_lowest_ranks_whatever_the_order) {
  Shortlist rising(3), falling(3);
  for (std::uint64_t r = 0; r < 10; ++r) rising.offer(static_cast<double>(r), {pulse(r), std::nullopt});
  for (std::uint64_t r = 10; r-- > 0;) falling.offer(static_cast<double>(r), {pulse(r), std::nullopt});
  const std::vector<Listed> lowest{
      {pulse(0), std::nullopt}, {pulse(1), std::nullopt}, {pulse(2), std::nullopt}};
  EXPECT_EQ(rising.entries(), lowest);
  EXPECT_EQ(falling.entries(), lowest);
  EXPECT_EQ(rising.offered(), 10U);
}

TEST(shortlist, takes_no_unknown_rank_and_may_be_empty) {
  Shortlist list(2), none(0);
  list.offer(std::nan(""), {pulse(1), std::nullopt});
  none.offer(1, {pulse(1), std::nullopt});
  EXPECT_EQ(list.offered(), 0U);
  EXPECT_TRUE(list.entries().empty());
  EXPECT_EQ(none.offered(), 1U);
  EXPECT_TRUE(none.entries().empty());
}

TEST(shortlist, lots_are_spread_evenly_and_do_not_follow_the_record) {
  // Mean of n uniform numbers: 1/2 with a standard deviation of 1/sqrt(12 n); correlation of neighbours: 0
  // with 1/sqrt(n). Five of each leave a false alarm in under 1 in 10^6 cases, and the lots are always the
  // same.
  constexpr std::uint64_t n = 100'000;
  double sum = 0, product = 0;
  for (std::uint64_t r = 0; r < n; ++r) {
    const double lot = lot_of(pulse(r));
    ASSERT_GE(lot, 0);
    ASSERT_LT(lot, 1);
    sum += lot;
    product += 12 * (lot - 0.5) * (lot_of(pulse(r + 1)) - 0.5);
  }
  EXPECT_NEAR(sum / n, 0.5, 5 / std::sqrt(12.0 * n));
  EXPECT_NEAR(product / n, 0, 5 / std::sqrt(1.0 * n));
}

TEST(shortlist, takes_by_turns_each_pulse_once_and_not_too_many) {
  Shortlist many(10), few(10), pairs(10);
  for (std::uint64_t r = 0; r < 10; ++r) many.offer(static_cast<double>(r), {pulse(r), std::nullopt});
  few.offer(0, {pulse(1), std::nullopt});
  few.offer(1, {pulse(100), std::nullopt});
  pairs.offer(0, {pulse(200), PulseName{.record = 200, .channel = 1, .pulse = 0}});
  using testing::ElementsAre;
  const PulseName second{.record = 200, .channel = 1, .pulse = 0};
  // First turn: 0, 1 and the pair; second: 1 again and 100; third: 2.
  EXPECT_THAT(taken_by_turns({&many, &few, &pairs}, 6),
              ElementsAre(pulse(0), pulse(1), pulse(2), pulse(100), pulse(200), second));
  EXPECT_THAT(taken_by_turns({&many, &few, &pairs}, 3), ElementsAre(pulse(0), pulse(1)));
  EXPECT_EQ(taken_by_turns({&many, &few, &pairs}, 1000).size(), 13U);
}

}  // namespace
}  // namespace firstedge
