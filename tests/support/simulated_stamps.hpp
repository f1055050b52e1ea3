// Stamps with normal errors, for tests of the analyses: what a perfect method would give.
#pragma once

#include "firstedge/core/stamp.hpp"

#include "support/random.hpp"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace firstedge::test {

/// One stamp a channel and record, in the table's order. Times are 1 ns times the channel, plus a normal
/// error of the channel's sigma; stated uncertainty and bound are that sigma. Heights are even over 0.1 V to
/// 1 V.
inline std::vector<Stamp> normal_stamps(const std::vector<double>& sigmas_s, std::size_t records,
                                        std::uint64_t seed) {
  Random random(seed);
  std::vector<Stamp> stamps;
  for (std::size_t record = 0; record < records; ++record) {
    for (std::size_t channel = 0; channel < sigmas_s.size(); ++channel) {
      Stamp stamp{.record = record, .channel = static_cast<std::uint16_t>(channel)};
      stamp.time_s = 1e-9 * static_cast<double>(channel) + random.normal(0, sigmas_s[channel]);
      stamp.uncertainty_s = stamp.bound_s = sigmas_s[channel];
      stamp.height_v = random.uniform(0.1, 1);
      stamps.push_back(stamp);
    }
  }
  return stamps;
}

}  // namespace firstedge::test
