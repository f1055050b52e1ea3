// Reads the table of leap seconds that the time zone package of the system keeps.
#pragma once

#include "firstedge/core/leap_second_list.hpp"

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>

namespace firstedge {

/// Where Debian's tzdata keeps the table.
inline constexpr const char* system_leap_second_file = "/usr/share/zoneinfo/leap-seconds.list";
/// The table is a few kilobytes; more than this is something else.
inline constexpr std::size_t most_leap_second_bytes = std::size_t{1} << 20U;

/// Reads a table in the layout of leap-seconds.list as the IERS and NIST publish it: lines of NTP seconds (of
/// 1900-01-01) and TAI - UTC in s; '#' starts a comment, "#$" the time of the update, "#@" that of expiry,
/// "#h" the SHA-1 of all those numbers' digits (the update, the expiry, then each line's two) as five 32-bit
/// words in hexadecimal, where leading zeros may be missing.
///
/// Throws Error with the line for a number that is none, a missing or second "#$", "#@" or "#h", digits that
/// do not have this SHA-1, a date that does not rise, no line at all, or a step that is not one second at the
/// start of a UTC day.
LeapSecondList parse_leap_second_list(std::string_view text, const std::string& place);

/// The same of a file. Throws Error also for a file that cannot be read or is larger than
/// most_leap_second_bytes.
LeapSecondList read_leap_second_list(const std::filesystem::path& file);

}  // namespace firstedge
