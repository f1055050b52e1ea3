// Time scales: one instant on UTC, TAI and GPS time, as a Modified Julian Date, and as GPS week and second.
#pragma once

#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/core/instant.hpp"

#include <cstdint>
#include <string>
#include <string_view>

namespace firstedge {

/// TAI - GPS time, always: GPS time was UTC at its epoch, when TAI - UTC was 19 s (IS-GPS-200, 3.3.4).
inline constexpr std::int64_t tai_minus_gps_s = 19;

/// The same instant on another scale; exact. Throws Error before 1972-01-01T00:00:00 UTC, after the year
/// 9999, and for a second that UTC does not have. GPS time before its epoch, 1980-01-06, is TAI - 19 s too.
Instant on_scale(const Instant& instant, TimeScale scale, const LeapSeconds& leap_seconds);

/// later - earlier in s, leap seconds counted, whatever their scales; exact to the nearest double. Throws as
/// on_scale.
double elapsed_s(const Instant& later, const Instant& earlier, const LeapSeconds& leap_seconds);

/// A Modified Julian Date in parts: days since 1858-11-17 on the calendar of its scale, whole seconds of that
/// day and femtoseconds. No part is rounded; second is 86,400 inside a leap second.
struct ModifiedJulianDate {
  TimeScale scale = TimeScale::utc;
  std::int64_t day = 0, second = 0, femtoseconds = 0;

  friend bool operator==(const ModifiedJulianDate&, const ModifiedJulianDate&) = default;
};

ModifiedJulianDate modified_julian_date(const Instant& instant);
Instant instant_of(const ModifiedJulianDate& date);

/// The date with 20 decimals, which tell one femtosecond from the next: "57754.00000000000000000000". The
/// fraction counts in parts of the day's own length, which is 86,401 s where UTC adds a leap second (as the
/// SOFA library's 'quasi-JD'). Throws Error on UTC before 1972.
std::string decimal_text(const ModifiedJulianDate& date, const LeapSeconds& leap_seconds);

/// The instant of a decimal date with up to 20 digits of fraction, rounded to 1 fs; the inverse of
/// decimal_text. Throws Error naming `place` for anything else, and on UTC before 1972.
Instant parse_modified_julian_date(std::string_view text, TimeScale scale, const LeapSeconds& leap_seconds,
                                   const std::string& place);

/// GPS time as it is sent: full weeks since 1980-01-06T00:00:00 (never 'rolled over' to 10 bits), seconds of
/// the week, femtoseconds.
struct GpsWeek {
  std::int64_t week = 0, second = 0, femtoseconds = 0;

  friend bool operator==(const GpsWeek&, const GpsWeek&) = default;
};

/// gps: on GPS time. Throws Error before the epoch.
GpsWeek gps_week(const Instant& gps);
/// Throws Error for a second outside [0, 604800), femtoseconds outside [0, 1e15), a negative week or one
/// after the year 9999.
Instant instant_of(const GpsWeek& week);

}  // namespace firstedge
