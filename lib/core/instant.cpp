#include "firstedge/core/instant.hpp"

#include "firstedge/core/error.hpp"

#include <cassert>
#include <chrono>
#include <cmath>
#include <limits>

#include <date/date.h>
#include <fmt/format.h>

namespace firstedge {
namespace {

// Brings any sum of femtoseconds back into [0, 1e15).
Instant normalised(TimeScale scale, std::int64_t seconds, std::int64_t femtoseconds) {
  std::int64_t carry = femtoseconds / femtoseconds_per_second;
  std::int64_t rest = femtoseconds % femtoseconds_per_second;
  if (rest < 0) {
    rest += femtoseconds_per_second;
    --carry;
  }
  return {scale, seconds + carry, rest};
}

// A fixed-width field of digits, taken from the front of the text.
struct FieldReader {
  std::string_view text;
  bool good = true;

  int digits(std::size_t width) {
    int value = 0;
    for (std::size_t i = 0; i < width; ++i) {
      if (i >= text.size() || text[i] < '0' || text[i] > '9') {
        good = false;
        return 0;
      }
      value = value * 10 + (text[i] - '0');
    }
    text.remove_prefix(width);
    return value;
  }
  void mark(char expected) {
    if (text.empty() || text.front() != expected) {
      good = false;
    } else {
      text.remove_prefix(1);
    }
  }
};

}  // namespace

std::string_view to_text(TimeScale scale) {
  switch (scale) {
    case TimeScale::utc:
      return "UTC";
    case TimeScale::tai:
      return "TAI";
    case TimeScale::gps:
      return "GPS";
  }
  return "";
}

std::optional<TimeScale> time_scale_named(std::string_view word) {
  for (const TimeScale scale : time_scales) {
    if (word == to_text(scale)) return scale;
  }
  return std::nullopt;
}

Instant advanced(const Instant& instant, double duration_s) {
  const double whole = std::floor(duration_s);
  assert(std::abs(whole) < 9e18);
  const auto femtoseconds = static_cast<std::int64_t>(std::llround((duration_s - whole) * 1e15));
  return normalised(instant.scale, instant.seconds + static_cast<std::int64_t>(whole),
                    instant.femtoseconds + femtoseconds);
}

double difference_s(const Instant& a, const Instant& b) {
  assert(a.scale == b.scale);
  constexpr auto a_second = static_cast<double>(femtoseconds_per_second);
  constexpr std::int64_t whole_in_femtoseconds = 9000;  // below 2^63 fs, with two seconds more
  const std::int64_t seconds = a.seconds - b.seconds;
  const std::int64_t femtoseconds = a.femtoseconds - b.femtoseconds;
  if (-whole_in_femtoseconds < seconds && seconds < whole_in_femtoseconds)
    return static_cast<double>(seconds * femtoseconds_per_second + femtoseconds) / a_second;
  return static_cast<double>(seconds) + static_cast<double>(femtoseconds) / a_second;
}

Instant parse_instant(std::string_view text, TimeScale scale, const std::string& place) {
  const auto refuse = [&](const std::string& problem) -> Error {
    return {place, fmt::format("'{}' {}", text, problem), "write it like 2026-11-25T06:37:00.123456789Z"};
  };
  FieldReader fields{text};
  const int year = fields.digits(4);
  fields.mark('-');
  const int month = fields.digits(2);
  fields.mark('-');
  const int day = fields.digits(2);
  if (!fields.text.empty() && fields.text.front() == ' ') {
    fields.mark(' ');
  } else {
    fields.mark('T');
  }
  const int hour = fields.digits(2);
  fields.mark(':');
  const int minute = fields.digits(2);
  fields.mark(':');
  const int second = fields.digits(2);
  if (!fields.good) throw refuse("is not an ISO 8601 date and time");

  std::int64_t femtoseconds = 0;
  if (!fields.text.empty() && fields.text.front() == '.') {
    fields.mark('.');
    std::int64_t worth = femtoseconds_per_second / 10;
    bool any = false;
    while (!fields.text.empty() && fields.text.front() >= '0' && fields.text.front() <= '9') {
      if (worth == 0) throw refuse("has more than 15 digits of fraction");
      femtoseconds += worth * (fields.text.front() - '0');
      worth /= 10;
      any = true;
      fields.text.remove_prefix(1);
    }
    if (!any) throw refuse("has a decimal point and no fraction");
  }
  if (fields.text == "Z") {
    scale = TimeScale::utc;
  } else if (fields.text == " TAI") {
    scale = TimeScale::tai;
  } else if (fields.text == " GPS") {
    scale = TimeScale::gps;
  } else if (!fields.text.empty()) {
    throw refuse("ends in something other than Z, ' TAI' or ' GPS'");
  }

  const date::year_month_day calendar{date::year{year}, date::month{static_cast<unsigned>(month)},
                                      date::day{static_cast<unsigned>(day)}};
  if (!calendar.ok()) throw refuse("is not a day of the calendar");
  const bool leap = scale == TimeScale::utc && second == 60 && hour == 23 && minute == 59;
  if (hour > 23 || minute > 59 || (second > 59 && !leap)) throw refuse("is not a time of day");
  const std::int64_t days = date::sys_days{calendar}.time_since_epoch().count();
  Instant instant{scale, days * 86400 + hour * std::int64_t{3600} + minute * std::int64_t{60} + second,
                  femtoseconds};
  if (leap) {
    instant.seconds -= 1;
    instant.femtoseconds += femtoseconds_per_second;
  }
  return instant;
}

std::string to_text(const Instant& instant) {
  const bool leap = instant.femtoseconds >= femtoseconds_per_second;
  const date::sys_seconds point{std::chrono::seconds{instant.seconds}};
  const auto day = date::floor<date::days>(point);
  const date::year_month_day calendar{day};
  const date::hh_mm_ss clock{point - day};
  return fmt::format("{:04d}-{:02d}-{:02d}T{:02d}:{:02d}:{:02d}.{:015d}{}{}",
                     static_cast<int>(calendar.year()), static_cast<unsigned>(calendar.month()),
                     static_cast<unsigned>(calendar.day()), clock.hours().count(), clock.minutes().count(),
                     clock.seconds().count() + (leap ? 1 : 0),
                     leap ? instant.femtoseconds - femtoseconds_per_second : instant.femtoseconds,
                     instant.scale == TimeScale::utc ? "Z" : " ",
                     instant.scale == TimeScale::utc ? std::string_view() : to_text(instant.scale));
}

}  // namespace firstedge
