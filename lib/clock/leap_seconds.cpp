#include "firstedge/clock/leap_seconds.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cassert>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::int64_t seconds_a_day = 86400;
// 1972-01-01 is 730 days after 1970-01-01.
constexpr std::int64_t utc_of_1972 = 730 * seconds_a_day;
constexpr std::int64_t tai_minus_utc_of_1972 = 10;  // IERS Bulletin C; leap-seconds.list
// 10000-01-01: later years have no ISO 8601 date of four digits.
constexpr std::int64_t second_of_year_10000 = 253'402'300'800;

[[noreturn]] void refuse_before_1972() {
  throw Error("time", "lies before 1972-01-01T00:00:00 UTC",
              "give a later time: before it UTC kept no whole seconds to TAI");
}

void check_last_year(const Instant& instant) {
  if (instant.seconds >= second_of_year_10000)
    throw Error("time", "lies after the year 9999", "give an earlier time");
}

std::string day_of(const Instant& instant) {
  return to_text(instant).substr(0, 10);
}

}  // namespace

LeapSeconds::LeapSeconds(LeapSecondList list) : list_(std::move(list)) {
  const auto refuse = [&](const char* problem) {
    throw Error(list_.name, problem, "give the table of the system's time zone package");
  };
  if (list_.rows.empty() || list_.rows.front().utc_second != utc_of_1972 ||
      list_.rows.front().tai_minus_utc_s != tai_minus_utc_of_1972)
    refuse("does not begin with TAI - UTC = 10 s on 1972-01-01");
  for (std::size_t i = 1; i < list_.rows.size(); ++i) {
    const auto& row = list_.rows[i];
    const std::int64_t step = row.tai_minus_utc_s - list_.rows[i - 1].tai_minus_utc_s;
    if (row.utc_second <= list_.rows[i - 1].utc_second || row.utc_second % seconds_a_day != 0 ||
        (step != 1 && step != -1))
      refuse("has a row that is not one second more or less at the start of a later UTC day");
  }
}

std::size_t LeapSeconds::row_at_utc(std::int64_t utc_second) const {
  if (utc_second < list_.rows.front().utc_second) refuse_before_1972();
  const auto after = std::partition_point(list_.rows.begin(), list_.rows.end(),
                                          [&](const auto& row) { return row.utc_second <= utc_second; });
  return static_cast<std::size_t>(after - list_.rows.begin()) - 1;
}

std::size_t LeapSeconds::row_at_tai(std::int64_t tai_second) const {
  const auto has_begun = [&](const auto& row) { return row.utc_second + row.tai_minus_utc_s <= tai_second; };
  if (!has_begun(list_.rows.front())) refuse_before_1972();
  const auto after = std::partition_point(list_.rows.begin(), list_.rows.end(), has_begun);
  return static_cast<std::size_t>(after - list_.rows.begin()) - 1;
}

Instant LeapSeconds::tai_of_utc(const Instant& utc) const {
  assert(utc.scale == TimeScale::utc);
  check_last_year(utc);
  const std::size_t row = row_at_utc(utc.seconds);
  const std::int64_t before = list_.rows[row].tai_minus_utc_s;
  const bool leap = utc.femtoseconds >= femtoseconds_per_second;
  const bool last_of_row = row + 1 < list_.rows.size() && list_.rows[row + 1].utc_second == utc.seconds + 1;
  const std::int64_t step = last_of_row ? list_.rows[row + 1].tai_minus_utc_s - before : 0;
  if (leap && step != 1)
    throw Error("time", fmt::format("{} is a leap second that UTC does not have", to_text(utc)),
                "leap seconds end the last day of a month: see the table of leap seconds");
  if (step == -1)
    throw Error("time", fmt::format("{} was left out of UTC by a negative leap second", to_text(utc)),
                "give 23:59:58 or 00:00:00 of the next day");
  return {TimeScale::tai, utc.seconds + before + (leap ? 1 : 0),
          utc.femtoseconds - (leap ? femtoseconds_per_second : 0)};
}

Instant LeapSeconds::utc_of_tai(const Instant& tai) const {
  assert(tai.scale == TimeScale::tai);
  check_last_year(tai);
  const std::size_t row = row_at_tai(tai.seconds);
  const std::int64_t utc = tai.seconds - list_.rows[row].tai_minus_utc_s;
  const bool leap = row + 1 < list_.rows.size() && utc >= list_.rows[row + 1].utc_second;
  return {TimeScale::utc, leap ? utc - 1 : utc, tai.femtoseconds + (leap ? femtoseconds_per_second : 0)};
}

std::int64_t LeapSeconds::seconds_in_utc_day(std::int64_t day) const {
  const std::int64_t end = (day + 1) * seconds_a_day;
  const std::size_t row = row_at_utc(end - seconds_a_day);
  const bool ends_row = row + 1 < list_.rows.size() && list_.rows[row + 1].utc_second == end;
  return seconds_a_day +
         (ends_row ? list_.rows[row + 1].tai_minus_utc_s - list_.rows[row].tai_minus_utc_s : 0);
}

bool LeapSeconds::covers(const Instant& utc) const {
  assert(utc.scale == TimeScale::utc);
  return utc.seconds < list_.expires.seconds;
}

std::string LeapSeconds::words() const {
  return fmt::format("leap seconds from {}, updated {}, good until {}", list_.name, day_of(list_.updated),
                     day_of(list_.expires));
}

}  // namespace firstedge
