// Time scales against the published table of leap seconds, ERFA's own test values, and ERFA itself over
// 1972-2030.
#include "firstedge/clock/time_scales.hpp"

#include "support/published_leap_seconds.hpp"
#include "support/random.hpp"

#include <array>
#include <cmath>
#include <string>
#include <vector>

#include <erfa.h>
#include <fmt/format.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

const LeapSeconds leap = test::leap_seconds_of_2026();

Instant utc(const std::string& text) {
  return parse_instant(text, TimeScale::utc, "test");
}

std::int64_t tai_minus_utc(const std::string& text) {
  return leap.tai_of_utc(utc(text)).seconds - utc(text).seconds;
}

// leap-seconds.list of the IERS (time zone database, commit b9bc7a87), and ERFA's src/dat.c (commit
// 1d9738be).
TEST(time_scales_reference, tai_less_utc_is_the_published_table) {
  const std::vector<std::pair<std::string, int>> table{
      {"1972-01-01", 10}, {"1972-07-01", 11}, {"1973-01-01", 12}, {"1974-01-01", 13}, {"1975-01-01", 14},
      {"1976-01-01", 15}, {"1977-01-01", 16}, {"1978-01-01", 17}, {"1979-01-01", 18}, {"1980-01-01", 19},
      {"1981-07-01", 20}, {"1982-07-01", 21}, {"1983-07-01", 22}, {"1985-07-01", 23}, {"1988-01-01", 24},
      {"1990-01-01", 25}, {"1991-01-01", 26}, {"1992-07-01", 27}, {"1993-07-01", 28}, {"1994-07-01", 29},
      {"1996-01-01", 30}, {"1997-07-01", 31}, {"1999-01-01", 32}, {"2006-01-01", 33}, {"2009-01-01", 34},
      {"2012-07-01", 35}, {"2015-07-01", 36}, {"2017-01-01", 37}};
  ASSERT_EQ(leap.list().rows.size(), table.size());
  for (std::size_t i = 0; i < table.size(); ++i) {
    EXPECT_EQ(tai_minus_utc(table[i].first + "T00:00:00Z"), table[i].second);
    if (i == 0) continue;
    Instant before = utc(table[i].first + "T00:00:00Z");
    --before.seconds;
    EXPECT_EQ(leap.tai_of_utc(before).seconds - before.seconds, table[i].second - 1) << table[i].first;
  }
}

TEST(time_scales_reference, the_table_of_the_system_begins_with_the_published_one) {
  const LeapSecondList system = read_leap_second_list(system_leap_second_file);
  ASSERT_GE(system.rows.size(), leap.list().rows.size());
  for (std::size_t i = 0; i < leap.list().rows.size(); ++i) {
    EXPECT_EQ(system.rows[i].utc_second, leap.list().rows[i].utc_second);
    EXPECT_EQ(system.rows[i].tai_minus_utc_s, leap.list().rows[i].tai_minus_utc_s);
  }
}

// ERFA, src/t_erfa_c.c: t_dat.
TEST(time_scales_reference, erfa_test_values_of_tai_less_utc) {
  EXPECT_EQ(tai_minus_utc("2003-06-01T00:00:00Z"), 32);
  EXPECT_EQ(tai_minus_utc("2008-01-17T00:00:00Z"), 33);
  EXPECT_EQ(tai_minus_utc("2017-09-01T00:00:00Z"), 37);
}

// ERFA, src/t_erfa_c.c: t_cal2jd, t_jd2cal, t_utctai, t_taiutc; decimals as printed there.
TEST(time_scales_reference, erfa_test_values_of_dates) {
  EXPECT_EQ(modified_julian_date(utc("2003-06-01T00:00:00Z")).day, 52791);
  const Instant before_midnight = parse_modified_julian_date("50123.9999", TimeScale::tai, leap, "test");
  EXPECT_EQ(to_text(before_midnight), "1996-02-10T23:59:51.360000000000000 TAI");

  // JD 2453750.5 is MJD 53750; the printed TAI fraction is 0.8924826384444444444, tested to 1e-12 day there.
  const Instant start = parse_modified_julian_date("53750.892100694", TimeScale::utc, leap, "test");
  const std::string tai = decimal_text(modified_julian_date(on_scale(start, TimeScale::tai, leap)), leap);
  EXPECT_EQ(tai.substr(0, 21), "53750.892482638444444");
  const Instant end = parse_modified_julian_date("53750.892482639", TimeScale::tai, leap, "test");
  const std::string back = decimal_text(modified_julian_date(on_scale(end, TimeScale::utc, leap)), leap);
  EXPECT_EQ(back.substr(0, 22), "53750.8921006945555555");
}

// ERFA, src/t_erfa_c.c: t_d2dtf and t_dtf2d: the day of a leap second has 86,401 s.
TEST(time_scales_reference, erfa_test_values_on_the_day_of_a_leap_second) {
  const Instant inside = parse_modified_julian_date("49533.99999", TimeScale::utc, leap, "test");
  EXPECT_EQ(to_text(inside), "1994-06-30T23:59:60.135990000000000Z");
  EXPECT_EQ(decimal_text(modified_julian_date(utc("1994-06-30T23:59:60.13599Z")), leap),
            "49533.99999000000000000000");
}

// GPS epoch 1980-01-06 = MJD 44244 (IS-GPS-200); GPS - UTC = 18 s since 2017 ('LS=18' in the headers of the
// BIPM's time links); the week is derived: MJD 57754 is 13,510 days = 1,930 weeks after the epoch.
TEST(time_scales_reference, gps_time_and_its_weeks) {
  const Instant epoch = on_scale(utc("1980-01-06T00:00:00Z"), TimeScale::gps, leap);
  EXPECT_EQ(gps_week(epoch), (GpsWeek{0, 0, 0}));
  EXPECT_EQ(modified_julian_date(epoch), (ModifiedJulianDate{TimeScale::gps, 44244, 0, 0}));
  const Instant new_year = utc("2017-01-01T00:00:00Z");
  EXPECT_EQ(modified_julian_date(new_year).day, 57754);
  EXPECT_EQ(gps_week(on_scale(new_year, TimeScale::gps, leap)), (GpsWeek{1930, 18, 0}));
  const Instant last_leap = on_scale(utc("2016-12-31T23:59:60Z"), TimeScale::gps, leap);
  EXPECT_EQ(gps_week(last_leap), (GpsWeek{1930, 17, 0}));
  const Instant before = utc("2016-12-31T23:59:59Z");
  EXPECT_EQ(on_scale(before, TimeScale::gps, leap).seconds - before.seconds, 17);
}

// What ERFA makes of a UTC date and time: TAI as seconds of 1970-01-01.
double erfa_tai_fraction(const std::string& text, std::int64_t& day) {
  double utc1 = 0, utc2 = 0, tai1 = 0, tai2 = 0;
  EXPECT_GE(eraDtf2d("UTC", std::stoi(text.substr(0, 4)), std::stoi(text.substr(5, 2)),
                     std::stoi(text.substr(8, 2)), std::stoi(text.substr(11, 2)),
                     std::stoi(text.substr(14, 2)), std::stod(text.substr(17, 18)), &utc1, &utc2),
            0)
      << text;
  EXPECT_GE(eraUtctai(utc1, utc2, &tai1, &tai2), 0) << text;
  day = static_cast<std::int64_t>(std::floor(tai1 - 2400000.5 + tai2));
  return (tai1 - 2400000.5 - static_cast<double>(day)) + tai2;
}

void expect_erfa_agrees(const Instant& utc) {
  const ModifiedJulianDate ours = modified_julian_date(leap.tai_of_utc(utc));
  std::int64_t day = 0;
  const double fraction = erfa_tai_fraction(to_text(utc), day);
  // ERFA rounds days of some 2.4e6 in two parts: the fraction at most four times to 2^-53, 4e-11 s.
  constexpr double rounding_s = 4e-11;
  const double seconds = static_cast<double>(ours.day - day) * 86400 + static_cast<double>(ours.second) +
                         static_cast<double>(ours.femtoseconds) * 1e-15;
  EXPECT_NEAR(seconds, fraction * 86400, rounding_s) << to_text(utc);
}

TEST(time_scales_reference, erfa_agrees_at_random_instants_of_1972_to_2030) {
  test::Random random(19722030);
  constexpr std::int64_t begin = 63'072'000, end = 1'924'992'000;  // 1972-01-01, 2031-01-01
  for (int i = 0; i < 20000; ++i) {
    const auto second =
        static_cast<std::int64_t>(random.uniform(static_cast<double>(begin), static_cast<double>(end)));
    const auto part = static_cast<std::int64_t>(random.uniform(0, 1e15));
    const Instant instant{TimeScale::utc, second, part};
    expect_erfa_agrees(instant);
    ASSERT_EQ(leap.utc_of_tai(leap.tai_of_utc(instant)), instant) << to_text(instant);
  }
}

// TAI to UTC by ERFA, printed to 1 ns; quarter seconds are far from where rounding would tip.
std::string erfa_utc(const Instant& tai) {
  const ModifiedJulianDate date = modified_julian_date(tai);
  double utc1 = 0, utc2 = 0;
  eraTaiutc(2400000.5 + static_cast<double>(date.day),
            (static_cast<double>(date.second) + static_cast<double>(date.femtoseconds) * 1e-15) / 86400,
            &utc1, &utc2);
  int year = 0, month = 0, day = 0;
  std::array<int, 4> clock{};
  eraD2dtf("UTC", 9, utc1, utc2, &year, &month, &day, clock.data());
  return fmt::format("{:04d}-{:02d}-{:02d}T{:02d}:{:02d}:{:02d}.{:09d}", year, month, day, clock[0], clock[1],
                     clock[2], clock[3]);
}

TEST(time_scales_reference, erfa_agrees_on_both_sides_of_every_leap_second) {
  for (std::size_t i = 1; i < leap.list().rows.size(); ++i) {
    const auto& row = leap.list().rows[i];
    const std::int64_t midnight = row.utc_second + row.tai_minus_utc_s;
    for (std::int64_t quarter = -16; quarter <= 12; ++quarter) {
      const std::int64_t second = midnight + (quarter + 16) / 4 - 4;
      const Instant tai{TimeScale::tai, second, (quarter + 16) % 4 * 250'000'000'000'000};
      const Instant utc = leap.utc_of_tai(tai);
      expect_erfa_agrees(utc);
      EXPECT_EQ(leap.tai_of_utc(utc), tai);
      EXPECT_EQ(to_text(utc).substr(0, 29), erfa_utc(tai));
    }
  }
}

}  // namespace
}  // namespace firstedge
