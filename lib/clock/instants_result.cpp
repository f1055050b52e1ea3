#include "firstedge/clock/tie_result.hpp"
#include "firstedge/clock/time_scales.hpp"
#include "firstedge/core/error.hpp"

#include <charconv>
#include <system_error>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;

std::string words_of(const GpsWeek& week) {
  return fmt::format("week {} second {}.{:015d}", week.week, week.second, week.femtoseconds);
}

// A whole number at the front of the text, taken off it.
bool take_whole(std::string_view& text, std::int64_t& value) {
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  return fault == std::errc();
}

// ".25" in femtoseconds; at most 15 digits.
bool take_fraction(std::string_view text, std::int64_t& femtoseconds) {
  femtoseconds = 0;
  if (text.empty()) return true;
  text.remove_prefix(1);
  std::int64_t worth = femtoseconds_per_second / 10;
  for (const char c : text) {
    if (c < '0' || c > '9' || worth == 0) return false;
    femtoseconds += (c - '0') * worth;
    worth /= 10;
  }
  return !text.empty();
}

void add_forms(Table& table, double number, const Instant& instant, const LeapSeconds& leap_seconds) {
  const auto add = [&](const std::string& form, const std::string& text) {
    table.rows.push_back(Row{number, form, text});
  };
  for (const TimeScale scale : time_scales) {
    const Instant here = on_scale(instant, scale, leap_seconds);
    add(std::string(to_text(scale)), to_text(here));
    add(fmt::format("MJD {}", to_text(scale)), decimal_text(modified_julian_date(here), leap_seconds));
  }
  const Instant gps = on_scale(instant, TimeScale::gps, leap_seconds);
  if (gps.seconds >= instant_of(GpsWeek{}).seconds) add("GPS week", words_of(gps_week(gps)));
}

Instant parse_gps_week(std::string_view text, const std::string& place) {
  constexpr std::string_view between = " second ";
  const std::string_view whole = text;
  GpsWeek week;
  bool good = take_whole(text, week.week) && text.starts_with(between);
  if (good) text.remove_prefix(between.size());
  good = good && take_whole(text, week.second) && (text.empty() || text.front() == '.') &&
         take_fraction(text, week.femtoseconds);
  if (!good)
    throw Error(place, fmt::format("'week {}' is no GPS time", whole), "write it like week 1930 second 18.5");
  return instant_of(week);
}

}  // namespace

Instant parse_time(std::string_view text, TimeScale scale, const LeapSeconds& leap_seconds,
                   const std::string& place) {
  constexpr std::string_view date = "MJD ", week = "week ";
  if (text.starts_with(date))
    return parse_modified_julian_date(text.substr(date.size()), scale, leap_seconds, place);
  if (text.starts_with(week)) return parse_gps_week(text.substr(week.size()), place);
  return parse_instant(text, scale, place);
}

Result instants_result(std::span<const Instant> instants, const LeapSeconds& leap_seconds) {
  if (instants.empty()) throw Error("times", "none is given", "give one or more");
  Result result{.kind = "instants", .title = "Times on UTC, TAI and GPS time"};
  Table table{.key = "instants",
              .title = "Times",
              .note = "By " + leap_seconds.words() +
                      ". The fraction of a Modified Julian Date (MJD) counts in parts of the "
                      "day's own length.",
              .columns = {{"time", "Time", ""}, {"form", "Form", ""}, {"text", "Text", ""}}};
  double number = 0;
  for (const Instant& instant : instants) {
    ++number;
    add_forms(table, number, instant, leap_seconds);
    const Instant utc = on_scale(instant, TimeScale::utc, leap_seconds);
    if (!leap_seconds.covers(utc))
      result.warnings.push_back(
          fmt::format("{} lies beyond the end of the table of leap seconds ({}): UTC may have "
                      "another leap second until then.",
                      to_text(utc).substr(0, 19), leap_seconds.words()));
  }
  const Instant utc = on_scale(instants.front(), TimeScale::utc, leap_seconds);
  const Instant tai = on_scale(instants.front(), TimeScale::tai, leap_seconds);
  const std::int64_t difference =
      tai.seconds - utc.seconds - (utc.femtoseconds >= femtoseconds_per_second ? 1 : 0);
  result.answer = fmt::format("{} is {}; TAI is {} s ahead of UTC.", to_text(utc), to_text(tai), difference);
  result.tables.push_back(std::move(table));
  return result;
}

}  // namespace firstedge
