// EdgeChain: which of the recorded edges are seconds, one second apart by a counter that is nearly right.
#pragma once

#include "firstedge/clock/counter_time.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace firstedge {

struct EdgeChainOptions {
  double most_rate_error = 1e-4;  ///< relative, of the counter's mean rate
  double tolerance_s = 1e-6;      ///< of an edge from the place that the one before predicts
  double rate_wander = 1e-7;      ///< relative: what is added to the tolerance for each second missed
};

struct EdgeChain {
  struct Link {
    std::size_t edge = 0;     ///< position among the edges
    std::int64_t second = 0;  ///< counted from the first link; across a jump, the nearest whole second
    bool jumped = false;      ///< the counter jumped between the link before and this one
    double jump_s = 0;        ///< by how much the edge comes later than its second, within half a second
  };
  std::vector<Link> links;
  std::vector<std::size_t> doubled;   ///< edges left out within doubled_within_s of a link
  std::vector<std::size_t> spurious;  ///< other edges left out
  std::uint64_t missed = 0;           ///< seconds between links that have no edge
  double seconds_per_count_s = 1;     ///< true seconds in a second of the counter's nominal rate, mean
};

inline constexpr double doubled_within_s = 0.01;

/// The chain of edges that needs the least to be explained: 1 for each edge left out, jump_cost for each jump
/// of the counter (so that fewer than four edges at another place are spurious), nothing for a missed second,
/// and up to 0.01 for an edge at the end of its tolerance (so that of two the better is kept). Found by
/// dynamic programming over the last chain_window edges; deterministic, linear in the edges.
///
/// times: rising; at least 2. The mean rate is the median over neighbours (and next and third neighbours)
/// that lie a whole number of seconds apart within most_rate_error. Throws Error where no two edges do.
///
/// Where it fails: more than chain_window - 1 spurious edges between two seconds; jumps smaller than the
/// tolerance (looked for later, see CounterClock); jumps of whole seconds, which only labels tell.
EdgeChain chain_edges(std::span<const CounterTime> times, const EdgeChainOptions& options);

inline constexpr double jump_cost = 3.5;
inline constexpr std::size_t chain_window = 32;

}  // namespace firstedge
