// Two made-up stations for the tests of the agree room.
#pragma once

#include "firstedge/agree/comparison.hpp"

#include "support/random.hpp"

#include <string>
#include <vector>

namespace firstedge::test {

inline const Instant two_stations_start{TimeScale::tai, 1'800'000'000, 0};

/// Arrivals at these times (s from the start), each with this standard uncertainty.
inline InstantList list_at(const std::string& name, const std::vector<double>& time_s, double uncertainty_s) {
  InstantList list;
  list.name = name;
  for (const double one : time_s) list.instants.push_back(advanced(two_stations_start, one));
  list.uncertainty_s.assign(time_s.size(), uncertainty_s);
  return list;
}

/// The same passages at both, at the second later by travel_s + offset_s, each arrival scattering by
/// scatter_s.
inline Way passages(Random& random, std::size_t count, double travel_s, double offset_s, double scatter_s) {
  std::vector<double> first, second;
  double passage = 0;
  for (std::size_t i = 0; i < count; ++i) {
    passage += random.uniform(0.001, 0.5);
    first.push_back(passage + random.normal(0, scatter_s));
    second.push_back(passage + travel_s + offset_s + random.normal(0, scatter_s));
  }
  return {.name = "way",
          .first = list_at("south", first, scatter_s),
          .second = list_at("north", second, scatter_s)};
}

}  // namespace firstedge::test
