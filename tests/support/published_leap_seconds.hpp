// The table of leap seconds as it was published in July 2026, so that tests do not move with the system's.
#pragma once

#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/io/leap_second_file.hpp"

#include <array>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace firstedge::test {

/// NTP second and TAI - UTC: leap-seconds.list of the IERS (Paris Observatory), as the time zone database has
/// it.
inline constexpr std::array<std::pair<long long, int>, 28> published_leap_seconds{
    {{2272060800, 10}, {2287785600, 11}, {2303683200, 12}, {2335219200, 13}, {2366755200, 14},
     {2398291200, 15}, {2429913600, 16}, {2461449600, 17}, {2492985600, 18}, {2524521600, 19},
     {2571782400, 20}, {2603318400, 21}, {2634854400, 22}, {2698012800, 23}, {2776982400, 24},
     {2840140800, 25}, {2871676800, 26}, {2918937600, 27}, {2950473600, 28}, {2982009600, 29},
     {3029443200, 30}, {3076704000, 31}, {3124137600, 32}, {3345062400, 33}, {3439756800, 34},
     {3550089600, 35}, {3644697600, 36}, {3692217600, 37}}};
/// Its update, expiry and SHA-1 (the line #h).
inline constexpr const char* published_update = "3992312697";
inline constexpr const char* published_expiry = "4023129600";
inline constexpr const char* published_digest = "a9bad145 84c31c70 758402aa b37bfd54 5923836a";

inline std::string published_leap_second_text() {
  std::string text = fmt::format("#\tleap seconds\n#$\t{}\n#@\t{}\n", published_update, published_expiry);
  for (const auto& [second, difference] : published_leap_seconds)
    text += fmt::format("{}\t{}\t# a day\n", second, difference);
  return text + "#\n#h\t" + published_digest + "\n";
}

inline LeapSeconds leap_seconds_of_2026() {
  return LeapSeconds(parse_leap_second_list(published_leap_second_text(), "leap-seconds.list"));
}

}  // namespace firstedge::test
