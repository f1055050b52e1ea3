#include "firstedge/clock/track_schedule.hpp"

#include <algorithm>

namespace firstedge {

std::vector<std::int64_t> track_starts(std::int64_t modified_julian_day) {
  constexpr std::int64_t reference_day = 50722;  // 1997-10-01
  constexpr std::int64_t cycle_min = 1436, spacing_min = 16, tracks = 89;
  std::int64_t first = (2 - 4 * (modified_julian_day - reference_day)) % cycle_min;
  if (first < 0) first += cycle_min;
  std::vector<std::int64_t> starts;
  for (std::int64_t track = 0; track < tracks; ++track)
    starts.push_back((first + spacing_min * track) % cycle_min * 60);
  std::sort(starts.begin(), starts.end());
  return starts;
}

}  // namespace firstedge
