// When the tracks of navigation satellites start, by the schedule that laboratories share.
#pragma once

#include <cstdint>
#include <vector>

namespace firstedge {

/// Starts of the tracks of one UTC day, in s of the day, rising: 89 tracks every 16 minutes, all 4 minutes
/// earlier each day from 1997-10-01 00:02 on (Rapport BIPM-93/6, from memory; confirmed on public files).
std::vector<std::int64_t> track_starts(std::int64_t modified_julian_day);

}  // namespace firstedge
