// Claims of core/instant.hpp: no femtosecond is lost, ISO 8601 both ways, leap seconds read and sorted.
#include "firstedge/core/instant.hpp"

#include "firstedge/core/error.hpp"

#include "support/random.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

TEST(instant, trigger_instants_keep_one_femtosecond_over_fifty_years_of_dates) {
  test::Random random(20261125);
  constexpr std::int64_t first = 189302400;  // 1976-01-01
  constexpr std::int64_t fifty_years = 50LL * 365 * 86400;
  for (int i = 0; i < 20000; ++i) {
    const auto second = first + static_cast<std::int64_t>(random.uniform(0, 1) * fifty_years);
    const auto femto = static_cast<std::int64_t>(random.uniform(0, 1) * 999'999'999'999'999.0);
    for (const TimeScale scale : {TimeScale::utc, TimeScale::tai, TimeScale::gps}) {
      const Instant instant{scale, second, femto};
      ASSERT_EQ(parse_instant(to_text(instant), scale, "test"), instant) << to_text(instant);
    }
  }
}

TEST(instant, one_femtosecond_added_is_one_femtosecond_more_on_any_date) {
  for (const std::int64_t second : {-1LL, 0LL, 189302400LL, 1795588620LL}) {
    const Instant start{TimeScale::tai, second, 999'999'999'999'998};
    EXPECT_EQ(advanced(start, 1e-15).femtoseconds, 999'999'999'999'999);
    EXPECT_EQ(advanced(start, 2e-15), (Instant{TimeScale::tai, second + 1, 0}));
    EXPECT_EQ(advanced(Instant{TimeScale::tai, second, 0}, -1e-15),
              (Instant{TimeScale::tai, second - 1, 999'999'999'999'999}));
  }
}

TEST(instant, reads_iso_8601_with_and_without_fraction) {
  // 2026-11-25T06:37:00Z is 1795588620 s after 1970-01-01: 20782 days of 86,400 s and 23,820 s.
  EXPECT_EQ(parse_instant("2026-11-25T06:37:00Z", TimeScale::utc, "x"),
            (Instant{TimeScale::utc, 1795588620, 0}));
  EXPECT_EQ(parse_instant("2026-11-25 06:37:00.5", TimeScale::tai, "x"),
            (Instant{TimeScale::tai, 1795588620, femtoseconds_per_second / 2}));
  EXPECT_EQ(to_text(Instant{TimeScale::gps, 1795588620, 1}), "2026-11-25T06:37:00.000000000000001 GPS");
}

TEST(instant, a_leap_second_is_read_printed_and_sorts_before_the_next_day) {
  // Leap second of 2016-12-31: IERS Bulletin C 52.
  const std::string text = "2016-12-31T23:59:60.250000000000000Z";
  const Instant leap = parse_instant(text, TimeScale::utc, "x");
  EXPECT_EQ(to_text(leap), text);
  EXPECT_LT(leap.seconds, parse_instant("2017-01-01T00:00:00Z", TimeScale::utc, "x").seconds);
  EXPECT_THROW(parse_instant("2016-12-31T22:59:60Z", TimeScale::utc, "x"), Error);
  EXPECT_THROW(parse_instant("2016-12-31T23:59:60", TimeScale::tai, "x"), Error);
}

TEST(instant, refuses_what_is_not_a_time) {
  for (const char* text :
       {"", "2026", "2026-13-01T00:00:00Z", "2025-02-29T00:00:00Z", "2026-01-01T24:00:00Z",
        "2026-01-01T00:00:00+01:00", "2026-01-01T00:00:00.Z", "2026-01-01T00:00:00.1234567890123456Z",
        "2026-01-01T00:00:61Z", "20260101T000000Z", "2026-01-01T00:00:00ZZ"}) {
    EXPECT_THROW(parse_instant(text, TimeScale::utc, "x"), Error) << text;
  }
}

TEST(instant, differences_are_exact_to_the_double) {
  const Instant a{TimeScale::tai, 1795588620, 3};
  const Instant b{TimeScale::tai, 1795588620, 1};
  EXPECT_DOUBLE_EQ(difference_s(a, b), 2e-15);
  EXPECT_DOUBLE_EQ(difference_s(advanced(a, 1.25), a), 1.25);
  EXPECT_EQ(difference_s(Instant{TimeScale::tai, 7, 0}, Instant{TimeScale::tai, 6, 999'999'999'999'999}),
            1e-15);
}

}  // namespace
}  // namespace firstedge
