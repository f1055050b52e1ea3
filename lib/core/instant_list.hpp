// InstantList: arrivals at one station in one channel, on a time scale, with what is known of each.
#pragma once

#include "firstedge/core/applied_delay.hpp"
#include "firstedge/core/instant.hpp"

#include <string>
#include <vector>

namespace firstedge {

/// A quantity beside each instant: height, temperature, ...; NaN where it is not known.
struct InstantColumn {
  std::string name, unit;
  std::vector<double> values;
};

/// Shapes (n,) all; columns that are not given are empty. All instants are on one scale.
struct InstantList {
  std::string name;  ///< of station and channel, for people
  std::vector<Instant> instants;
  std::vector<double> uncertainty_s;  ///< standard uncertainty of each by itself; NaN where not known
  std::vector<InstantColumn> columns;
  std::vector<std::string> methods;  ///< by which each was timed; empty: all by one
  /// What the delay that was taken out of all of them rests on; empty: nothing was taken out, or nothing is
  /// known.
  std::vector<DelayTerm> chain;
  std::vector<DelayTerm> spare;  ///< elements that the Setup lists and the chain does not hold
  std::vector<std::string> notes;
};

}  // namespace firstedge
