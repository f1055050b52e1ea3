// Time scales and leap seconds as Python names them.
#pragma once

#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/core/instant.hpp"

#include "bindings.hpp"

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

namespace firstedge::python {

/// "UTC", "TAI" or "GPS". Throws Error for any other word.
TimeScale scale_named(const std::string& name);

/// Throws Error for femtoseconds that are not within a second, or within two on UTC, which has leap seconds.
Instant instant_of(std::int64_t seconds, std::int64_t femtoseconds, TimeScale scale);

/// The scale's name as the bytes of an array's field, padded with zeros.
std::array<char, 8> padded_name(TimeScale scale);

/// The table in a file, or the system's. Throws Error as read_leap_second_list.
LeapSeconds leap_seconds_of(const std::optional<std::filesystem::path>& file);

}  // namespace firstedge::python
