// LeapSecondList: what a table of leap seconds says, as it was read; the clock room makes time scales of it.
#pragma once

#include "firstedge/core/instant.hpp"

#include <cstdint>
#include <string>
#include <vector>

namespace firstedge {

/// TAI - UTC from 1972 on, and how long the table is good for.
struct LeapSecondList {
  struct Row {
    std::int64_t utc_second = 0;  ///< since 1970-01-01T00:00:00 UTC: from here on it holds
    std::int64_t tai_minus_utc_s = 0;
  };
  std::string name;       ///< of the file, for people
  std::vector<Row> rows;  ///< in rising order
  Instant updated;        ///< on UTC
  Instant expires;        ///< on UTC: a leap second from here on is not in the table
};

}  // namespace firstedge
