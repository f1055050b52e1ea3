// Instant: a point on a named time scale, held in two whole numbers so that a femtosecond is never lost.
#pragma once

#include <array>
#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace firstedge {

enum class TimeScale : std::uint8_t { utc, tai, gps };

/// "UTC", "TAI" or "GPS".
std::string_view to_text(TimeScale scale);

/// All of them, in the order in which they are told.
inline constexpr std::array<TimeScale, 3> time_scales{TimeScale::utc, TimeScale::tai, TimeScale::gps};

/// The scale of that name; nothing for any other word.
std::optional<TimeScale> time_scale_named(std::string_view word);

inline constexpr std::int64_t femtoseconds_per_second = 1'000'000'000'000'000;

/// A point in time: whole seconds since 1970-01-01T00:00:00 read on the scale's own calendar, and
/// femtoseconds.
///
/// Invariant: femtoseconds is in [0, 1e15), but on UTC it may be in [1e15, 2e15) while a leap second runs, so
/// that 23:59:60.5 is held as second 23:59:59 with 1.5e15 fs and still sorts before 00:00:00 of the next day.
/// Seconds count calendar days of 86,400 s; conversion between scales belongs to the clock room.
struct Instant {
  TimeScale scale = TimeScale::utc;
  std::int64_t seconds = 0;
  std::int64_t femtoseconds = 0;

  friend bool operator==(const Instant&, const Instant&) = default;
};

/// instant + duration_s, rounded to 1 fs. Error below 1 fs for |duration_s| < 4 s; above, that of the double
/// given. Does not know leap seconds: crossing one on UTC is off by a second, so do sums on TAI.
Instant advanced(const Instant& instant, double duration_s);

/// a - b in seconds, within 2.3e-16 of it (two roundings), also when whole seconds cancel; both must be on
/// the same scale (assert). Leap seconds between the two are not counted on UTC.
double difference_s(const Instant& a, const Instant& b);

/// Reads ISO 8601 extended format with an optional fraction down to 1 fs:
/// "2026-11-25T06:37:00.123456789012345Z". 'Z' marks UTC; without it the scale given is used. Accepts second
/// 60 (a leap second) on UTC at 23:59. Throws Error naming `place` for anything else: other zones, more than
/// 15 digits of fraction, wrong calendar dates.
Instant parse_instant(std::string_view text, TimeScale scale, const std::string& place);

/// ISO 8601 with 15 digits of fraction and the scale: "2026-11-25T06:37:00.123456789012345Z" on UTC, or with
/// " TAI" or " GPS" in place of the Z. parse_instant(to_text(x), x.scale) == x.
std::string to_text(const Instant& instant);

}  // namespace firstedge
