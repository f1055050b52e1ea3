// Seeds for the parts of one job, so that a part's random numbers do not depend on how many parts there are.
#pragma once

#include <cstdint>

namespace firstedge {

/// A seed for part `index` of a job with this seed. Seeds of neighbours are not neighbours: one step of
/// SplitMix64 (S. Vigna, public domain algorithm) of the pair.
constexpr std::uint64_t mixed_seed(std::uint64_t seed, std::uint64_t index) {
  std::uint64_t z = seed + 0x9e3779b97f4a7c15ULL * (index + 1);
  z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9ULL;
  z = (z ^ (z >> 27U)) * 0x94d049bb133111ebULL;
  return z ^ (z >> 31U);
}

}  // namespace firstedge
