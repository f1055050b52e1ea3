#include "firstedge/clock/time_scales.hpp"

#include "firstedge/core/error.hpp"

#include <cassert>
#include <charconv>
#include <system_error>

#include <boost/multiprecision/cpp_int.hpp>
#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::int64_t seconds_a_day = 86400;
constexpr std::int64_t seconds_a_week = 7 * seconds_a_day;
constexpr std::int64_t mjd_of_1970 = 40587;
constexpr std::int64_t gps_epoch = 315'964'800;  // 1980-01-06 less 1970-01-01: 3,657 days
constexpr std::int64_t last_mjd = 2'973'483;     // 9999-12-31
constexpr std::size_t most_decimals = 20;

// Products of a fraction of 20 decimals, or of a day in femtoseconds, take up to 120 bits.
using Wide = boost::multiprecision::int128_t;
constexpr std::int64_t ten_to_10 = 10'000'000'000;
const Wide ten_to_20 = Wide(ten_to_10) * ten_to_10;

std::int64_t floor_of(std::int64_t value, std::int64_t unit) {
  return value / unit - (value % unit < 0 ? 1 : 0);
}

std::int64_t length_of_day(TimeScale scale, std::int64_t mjd, const LeapSeconds& leap_seconds) {
  return scale == TimeScale::utc ? leap_seconds.seconds_in_utc_day(mjd - mjd_of_1970) : seconds_a_day;
}

Instant tai_of(const Instant& instant, const LeapSeconds& leap_seconds) {
  if (instant.scale == TimeScale::utc) return leap_seconds.tai_of_utc(instant);
  Instant tai = instant;
  tai.scale = TimeScale::tai;
  if (instant.scale == TimeScale::gps) tai.seconds += tai_minus_gps_s;
  leap_seconds.utc_of_tai(tai);  // refuses what lies outside
  return tai;
}

std::int64_t digits_of(std::string_view text, bool& good) {
  std::int64_t value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  good = good && fault == std::errc() && end == text.data() + text.size();
  return value;
}

}  // namespace

Instant on_scale(const Instant& instant, TimeScale scale, const LeapSeconds& leap_seconds) {
  Instant tai = tai_of(instant, leap_seconds);
  if (scale == TimeScale::utc) return leap_seconds.utc_of_tai(tai);
  tai.scale = scale;
  if (scale == TimeScale::gps) tai.seconds -= tai_minus_gps_s;
  return tai;
}

double elapsed_s(const Instant& later, const Instant& earlier, const LeapSeconds& leap_seconds) {
  return difference_s(tai_of(later, leap_seconds), tai_of(earlier, leap_seconds));
}

ModifiedJulianDate modified_julian_date(const Instant& instant) {
  const bool leap = instant.femtoseconds >= femtoseconds_per_second;
  const std::int64_t day = floor_of(instant.seconds, seconds_a_day);
  return {instant.scale, day + mjd_of_1970, instant.seconds - day * seconds_a_day + (leap ? 1 : 0),
          instant.femtoseconds - (leap ? femtoseconds_per_second : 0)};
}

Instant instant_of(const ModifiedJulianDate& date) {
  const bool leap = date.second == seconds_a_day;
  return {date.scale, (date.day - mjd_of_1970) * seconds_a_day + date.second - (leap ? 1 : 0),
          date.femtoseconds + (leap ? femtoseconds_per_second : 0)};
}

std::string decimal_text(const ModifiedJulianDate& date, const LeapSeconds& leap_seconds) {
  const std::int64_t length = length_of_day(date.scale, date.day, leap_seconds);
  // (second + fs 1e-15)/length in units of 1e-20, the second's part and the rest divided one after the other
  // so that nothing leaves 128 bits; the last one rounded.
  const Wide whole = Wide(date.second) * ten_to_20;
  const Wide rest = (whole % length) * femtoseconds_per_second + Wide(date.femtoseconds) * ten_to_20;
  const Wide divisor = Wide(length) * femtoseconds_per_second;
  Wide fraction = whole / length + (rest + divisor / 2) / divisor;
  std::int64_t day = date.day;
  if (fraction == ten_to_20) {
    fraction = 0;
    ++day;
  }
  return fmt::format("{}.{:010d}{:010d}", day, static_cast<std::int64_t>(fraction / ten_to_10),
                     static_cast<std::int64_t>(fraction % ten_to_10));
}

Instant parse_modified_julian_date(std::string_view text, TimeScale scale, const LeapSeconds& leap_seconds,
                                   const std::string& place) {
  const std::size_t point = text.find('.');
  const std::string_view decimals = point == std::string_view::npos ? "0" : text.substr(point + 1);
  bool good = !decimals.empty() && decimals.size() <= most_decimals &&
              decimals.find_first_not_of("0123456789") == std::string_view::npos;
  const std::int64_t day = digits_of(text.substr(0, point), good);
  if (!good || day < 0 || day > last_mjd)
    throw Error(place, fmt::format("'{}' is not a Modified Julian Date", text),
                "write it like 57754.25, with at most 20 decimals");
  const std::int64_t length = length_of_day(scale, day, leap_seconds);
  Wide fraction = 0;
  for (const char digit : fmt::format("{:0<20}", decimals)) fraction = fraction * 10 + (digit - '0');
  const Wide seconds = fraction * length;
  const Wide rest = seconds % ten_to_20 * femtoseconds_per_second;
  ModifiedJulianDate date{scale, day, static_cast<std::int64_t>(seconds / ten_to_20),
                          static_cast<std::int64_t>((rest + ten_to_20 / 2) / ten_to_20)};
  if (date.femtoseconds == femtoseconds_per_second) {
    date.femtoseconds = 0;
    ++date.second;
  }
  if (date.second == length) return instant_of(ModifiedJulianDate{scale, day + 1, 0, 0});
  return instant_of(date);
}

GpsWeek gps_week(const Instant& gps) {
  assert(gps.scale == TimeScale::gps);
  if (gps.seconds < gps_epoch)
    throw Error("time", fmt::format("{} lies before 1980-01-06", to_text(gps)),
                "GPS weeks count from there: give a later time");
  const std::int64_t since = gps.seconds - gps_epoch;
  return {since / seconds_a_week, since % seconds_a_week, gps.femtoseconds};
}

Instant instant_of(const GpsWeek& week) {
  const std::int64_t most_weeks = (last_mjd - 44244) / 7;  // MJD 44244 is 1980-01-06
  if (week.week < 0 || week.week > most_weeks || week.second < 0 || week.second >= seconds_a_week ||
      week.femtoseconds < 0 || week.femtoseconds >= femtoseconds_per_second)
    throw Error("time", fmt::format("week {}, second {} is no GPS time", week.week, week.second),
                "give a full week from 0 on and a second below 604800");
  return {TimeScale::gps, gps_epoch + week.week * seconds_a_week + week.second, week.femtoseconds};
}

}  // namespace firstedge
