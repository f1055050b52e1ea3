// Claims of clock/leap_seconds.hpp and clock/time_scales.hpp: nothing is lost between scales, leap seconds of
// either sign, what is refused and with which sentence; and of the table's reader.
#include "firstedge/clock/time_scales.hpp"

#include "firstedge/core/digest.hpp"

#include "support/published_leap_seconds.hpp"
#include "support/random.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <span>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

const LeapSeconds leap = test::leap_seconds_of_2026();

Instant utc(const std::string& text) {
  return parse_instant(text, TimeScale::utc, "test");
}

TEST(time_scales, the_last_leap_second_is_one_second_on_every_scale) {
  const Instant before = utc("2016-12-31T23:59:59.999999999999999Z");
  const Instant inside = utc("2016-12-31T23:59:60Z");
  const Instant after = utc("2017-01-01T00:00:00Z");
  EXPECT_EQ(elapsed_s(inside, before, leap), 1e-15);
  EXPECT_EQ(elapsed_s(after, inside, leap), 1.0);
  EXPECT_EQ(to_text(on_scale(inside, TimeScale::tai, leap)), "2017-01-01T00:00:36.000000000000000 TAI");
  EXPECT_EQ(to_text(on_scale(inside, TimeScale::gps, leap)), "2017-01-01T00:00:17.000000000000000 GPS");
  EXPECT_EQ(to_text(on_scale(after, TimeScale::tai, leap)), "2017-01-01T00:00:37.000000000000000 TAI");
  EXPECT_EQ(elapsed_s(utc("2017-01-01T00:00:01Z"), utc("2016-12-31T23:59:59Z"), leap), 3.0);
}

TEST(time_scales, no_femtosecond_is_lost_between_scales_or_in_dates) {
  test::Random random(57754);
  for (int i = 0; i < 5000; ++i) {
    const auto row = static_cast<std::size_t>(random.uniform(1, 28));
    const auto away = static_cast<std::int64_t>(random.uniform(-3, 3));
    const auto part = static_cast<std::int64_t>(random.uniform(0, 1e15));
    const auto& at = leap.list().rows[row];
    const Instant tai{TimeScale::tai, at.utc_second + at.tai_minus_utc_s + away, part};
    for (const TimeScale scale : {TimeScale::utc, TimeScale::tai, TimeScale::gps}) {
      const Instant there = on_scale(tai, scale, leap);
      ASSERT_EQ(on_scale(there, TimeScale::tai, leap), tai) << to_text(there);
      const ModifiedJulianDate date = modified_julian_date(there);
      ASSERT_EQ(instant_of(date), there);
      ASSERT_EQ(parse_modified_julian_date(decimal_text(date, leap), scale, leap, "test"), there)
          << to_text(there) << " " << decimal_text(date, leap);
    }
  }
}

TEST(time_scales, gps_weeks_are_exact_and_count_on) {
  const Instant gps{TimeScale::gps, 1'795'588'620, 123'456'789'012'345};
  const GpsWeek week = gps_week(gps);
  EXPECT_EQ(week.week, (1'795'588'620 - 315'964'800) / 604800);
  EXPECT_EQ(instant_of(week), gps);
  EXPECT_THAT(test::sentence_of([] {
                gps_week(Instant{TimeScale::gps, 315'964'799, 0});
              }),
              HasSubstr("lies before 1980-01-06"));
  for (const GpsWeek& bad : {GpsWeek{-1, 0, 0}, GpsWeek{0, 604800, 0}, GpsWeek{0, 0, 1'000'000'000'000'000},
                             GpsWeek{1'000'000'000'000, 0, 0}})
    EXPECT_THAT(test::sentence_of([&] { instant_of(bad); }), HasSubstr("is no GPS time"));
}

TEST(time_scales, before_1972_and_seconds_that_are_none_are_refused_with_one_sentence) {
  EXPECT_THAT(test::sentence_of([] { on_scale(utc("1971-12-31T23:59:59.9Z"), TimeScale::tai, leap); }),
              HasSubstr("lies before 1972-01-01T00:00:00 UTC; give a later time"));
  const Instant tai_1972{TimeScale::tai, 63'072'010, 0};
  EXPECT_EQ(to_text(on_scale(tai_1972, TimeScale::utc, leap)), "1972-01-01T00:00:00.000000000000000Z");
  for (const TimeScale scale : {TimeScale::utc, TimeScale::tai, TimeScale::gps})
    EXPECT_THAT(test::sentence_of([&] {
                  on_scale(Instant{TimeScale::tai, 63'072'009, 0}, scale, leap);
                }),
                HasSubstr("before 1972"));
  EXPECT_THAT(test::sentence_of([] { leap.tai_of_utc(utc("2015-12-31T23:59:60Z")); }),
              HasSubstr("is a leap second that UTC does not have"));
  EXPECT_THAT(test::sentence_of([] {
                leap.tai_of_utc(Instant{TimeScale::utc, 253'402'300'800, 0});
              }),
              HasSubstr("after the year 9999"));
}

TEST(time_scales, dates_that_are_none_are_refused) {
  for (const char* text : {"", ".5", "57754.", "57754.123456789012345678901", "57754.1e3", "-1", "1e5",
                           "9999999999999999999", "57754,5", "2973484", "41316.9"})
    EXPECT_FALSE(
        test::sentence_of([&] { parse_modified_julian_date(text, TimeScale::utc, leap, "x"); }).empty())
        << text;
  EXPECT_EQ(to_text(parse_modified_julian_date("57753.99999999999999999999", TimeScale::tai, leap, "x")),
            "2016-12-31T23:59:59.999999999999999 TAI");
}

TEST(leap_seconds, a_negative_leap_second_leaves_a_second_out) {
  LeapSecondList list = leap.list();
  // Invented: UTC without 2029-12-31T23:59:59.
  const std::int64_t midnight = utc("2030-01-01T00:00:00Z").seconds;
  list.rows.push_back({midnight, 36});
  const LeapSeconds shorter(list);
  const Instant last = utc("2029-12-31T23:59:58Z");
  EXPECT_EQ(elapsed_s(utc("2030-01-01T00:00:00Z"), last, shorter), 1.0);
  EXPECT_THAT(test::sentence_of([&] { shorter.tai_of_utc(utc("2029-12-31T23:59:59Z")); }),
              HasSubstr("was left out of UTC"));
  for (std::int64_t second = -4; second <= 4; ++second) {
    const Instant tai{TimeScale::tai, midnight + 36 + second, 5};
    EXPECT_EQ(shorter.tai_of_utc(shorter.utc_of_tai(tai)), tai) << second;
  }
  EXPECT_EQ(shorter.seconds_in_utc_day(midnight / 86400 - 1), 86399);
}

TEST(leap_seconds, the_expiry_is_told) {
  EXPECT_TRUE(leap.covers(utc("2027-06-27T23:59:59Z")));
  EXPECT_FALSE(leap.covers(utc("2027-06-28T00:00:00Z")));
  EXPECT_THAT(leap.words(), HasSubstr("good until 2027-06-28"));
}

TEST(leap_seconds, a_list_that_does_not_begin_in_1972_is_refused) {
  LeapSecondList list = leap.list();
  list.rows.erase(list.rows.begin());
  EXPECT_THAT(test::sentence_of([&] { LeapSeconds late(list); }), HasSubstr("1972-01-01"));
  list = leap.list();
  list.rows.back().tai_minus_utc_s = 39;
  EXPECT_THAT(test::sentence_of([&] { LeapSeconds jump(list); }), HasSubstr("one second more or less"));
}

TEST(leap_second_file, the_published_digest_holds_and_a_changed_digit_does_not) {
  const test::TemporaryFolder folder;
  EXPECT_EQ(read_leap_second_list(folder.write("list", test::published_leap_second_text())).rows.size(), 28U);
  std::string text = test::published_leap_second_text();
  text.replace(text.find("4023129600"), 10, "4023129601");
  EXPECT_THAT(test::sentence_of([&] { parse_leap_second_list(text, "list"); }),
              HasSubstr("its numbers have the SHA-1 "));
}

// Older files drop the leading zeros of a word of the digest (the form is published beside the file).
TEST(leap_second_file, words_of_the_digest_may_lack_leading_zeros) {
  // Among these expiries some have a digest with a leading zero in a word.
  int with_zero = 0;
  for (int expiry = 0; expiry < 40; ++expiry) {
    const std::string digits = fmt::format("1{}227206080010", expiry);
    const std::string sum = sha1(std::as_bytes(std::span(digits)));
    std::string words;
    for (std::size_t word = 0; word < 5; ++word) {
      const std::string full = sum.substr(8 * word, 8);
      with_zero += full.front() == '0' ? 1 : 0;
      words += " " + full.substr(std::min<std::size_t>(full.find_first_not_of('0'), 7));
    }
    const std::string text = fmt::format("#$ 1\n#@ {}\n2272060800 10\r\n#h{}\r\n", expiry, words);
    EXPECT_EQ(parse_leap_second_list(text, "list").rows.size(), 1U) << text;
  }
  EXPECT_GT(with_zero, 0);
}

}  // namespace
}  // namespace firstedge
