// LeapSeconds: TAI - UTC at any time since 1972.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/core/leap_second_list.hpp"

#include <cstdint>
#include <string>

namespace firstedge {

/// A checked table of leap seconds. Copies are cheap enough (some 30 rows).
///
/// Invariant: the first row is 10 s from 1972-01-01 on, when UTC began to keep whole seconds to TAI; rows
/// rise, and each differs from the one before by one second at the start of a UTC day. A leap second of
/// either sign is understood; all until now were added.
class LeapSeconds {
 public:
  /// Throws Error for a list that breaks the invariant.
  explicit LeapSeconds(LeapSecondList list);

  const LeapSecondList& list() const { return list_; }

  /// TAI of an instant on UTC; 23:59:60 is read where UTC has it. Throws Error before 1972, after the year
  /// 9999, and for a second that UTC does not have.
  Instant tai_of_utc(const Instant& utc) const;
  /// UTC of an instant on TAI; inside a leap second it is the 60th second of the day's last minute. Throws
  /// Error before 1972-01-01T00:00:10 TAI, and after the year 9999.
  Instant utc_of_tai(const Instant& tai) const;

  /// Seconds in the UTC day that begins `day` days of 86,400 s after 1970-01-01: 86,400, 86,401 or 86,399.
  std::int64_t seconds_in_utc_day(std::int64_t day) const;

  /// True where the table's word is final: the UTC instant lies before its expiry.
  bool covers(const Instant& utc) const;
  /// "leap seconds from <name>, updated 2026-07-06, good until 2027-06-28".
  std::string words() const;

 private:
  // Position of the row that holds at a second of UTC, or of TAI. Throws Error before the first.
  std::size_t row_at_utc(std::int64_t utc_second) const;
  std::size_t row_at_tai(std::int64_t tai_second) const;

  LeapSecondList list_;
};

}  // namespace firstedge
