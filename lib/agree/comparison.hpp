// Comparison of two stations by one way: offset, budget and E_n.
#pragma once

#include "firstedge/agree/matching.hpp"
#include "firstedge/agree/offset.hpp"
#include "firstedge/agree/travel_time.hpp"
#include "firstedge/stats/delay_budget.hpp"

#include <cmath>
#include <string>
#include <vector>

namespace firstedge {

/// One way from the same particles, bunches or signal to a difference of two times.
struct Way {
  std::string name;
  InstantList first, second;
};

struct CompareOptions {
  TravelTime travel;              ///< from the first to the second station
  std::vector<DelayTerm> clocks;  ///< of the offset, such as each station's clock
  MatchOptions match;
  DelayBudgetOptions budget;
};

/// Each station's clock as a term of the offset, of this standard uncertainty in s; none for 0. Throws Error
/// for an uncertainty that is below 0 or not finite.
std::vector<DelayTerm> station_clocks(double uncertainty_s);

struct WayComparison {
  std::string name, first, second;
  Matching matching;
  Offset offset;
  /// The offset less what is expected, with statistical and all other uncertainty; the readings are a term
  /// too.
  DelayBudget budget;
  /// Offset over its expanded uncertainty (95.45 %); within +-1 the stations agree (ISO/IEC 17043:2010,
  /// B.3.1.3, from memory: E_n = (x - X)/sqrt(U_x^2 + U_X^2) with k = 2; here both are in one budget, with
  /// the factor of its degrees of freedom). Infinite without uncertainty.
  double e_n = 0;
  std::vector<Dependence> dependences;
  std::vector<MethodOffset> methods;
  OffsetCourse course;
  std::vector<double> time_s, difference_s;  ///< of the pairs, from the first instant
  std::vector<std::string> warnings;

  bool agrees() const { return std::abs(e_n) <= 1; }
};

/// offset = (second - first) - travel time. Chains: an element that both lists rest on cancels. Throws Error
/// as match_instants and robust_offset.
WayComparison compare_way(const Way& way, const CompareOptions& options);

}  // namespace firstedge
