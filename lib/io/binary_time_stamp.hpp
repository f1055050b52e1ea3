// Time stamps in the headers of binary records: where they stand, what their ticks are, which Instant they
// mean.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/core/settings.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// A time stamp is the epoch plus the sum of its parts (often one; two where seconds and fractions stand
/// apart).
struct TimeStampLayout {
  enum class Number : std::uint8_t { uint16, uint32, uint64, int32, int64, float64 };
  struct Part {
    std::size_t offset = 0;  ///< bytes from the start of the record's header
    Number number = Number::uint64;
    std::uint64_t ticks_per_second = 1;
  };
  Instant epoch;
  bool relative = false;  ///< the file knows no epoch: only differences of Instants mean something
  std::vector<Part> parts;
};

/// Reads the layout group "time_stamp": {"offset": 0, "type": "uint64", "unit": "ns" or "ticks_per_second":
/// 125000000, "epoch": "1970-01-01T00:00:00Z" or "relative", "scale": "UTC" | "TAI" | "GPS"}, or {"parts":
/// [{"offset", "type", "unit" or "ticks_per_second"}, ...], "epoch", "scale"}. A relative stamp counts from
/// 1970-01-01T00:00:00 TAI. Throws Error if a name is missing or wrong, or a part does not lie inside the
/// record header.
TimeStampLayout time_stamp_layout(const Settings& settings, std::size_t record_header_bytes);

/// The Instant in a record header. Whole ticks are exact to 1 fs (rounded); on UTC they count days of 86,400
/// s, so a counter that counts leap seconds belongs on TAI or GPS. Nothing if the number is NaN or the
/// Instant lies outside the years 1 to 9999. Every part must lie inside the header (assert).
std::optional<Instant> read_time_stamp(std::span<const std::byte> record_header,
                                       const TimeStampLayout& layout, bool big_endian);

}  // namespace firstedge
