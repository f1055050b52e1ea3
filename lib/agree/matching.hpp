// Matching: which instants of two lists belong together, with the doubtful ones told.
#pragma once

#include "firstedge/core/instant_list.hpp"

#include <cstddef>
#include <optional>
#include <vector>

namespace firstedge {

struct MatchOptions {
  double window_s = 1e-6;  ///< how far from the expected difference a partner is looked for
};

struct Match {
  std::size_t first = 0, second = 0;  ///< positions in the lists
  double difference_s = 0;            ///< second less first less what is expected
};

/// What became of both lists.
struct Matching {
  std::vector<Match> pairs;                               ///< in order of the first list's instants
  std::size_t unmatched_first = 0, unmatched_second = 0;  ///< no partner near the common difference
  /// More than one partner there, or a partner with more than one: left out, since none of them is surer.
  std::size_t doubly_first = 0, doubly_second = 0;
  double centre_s = 0;      ///< where the differences gather
  double half_width_s = 0;  ///< how far from there a partner may lie
  /// The next best gathering of differences elsewhere in the window: its place, and its height over the
  /// best's.
  std::optional<double> rival_s;
  double rival_share = 0;
};

/// From this share on the place of the differences is ambiguous: half of the instants fit elsewhere too.
inline constexpr double ambiguous_share = 0.5;
/// Pairs of instants within the window that are looked at, at most.
inline constexpr std::size_t most_candidates = 5'000'000;

/// Looks at all pairs of instants that differ by expected_s to within the window, finds the place where their
/// differences gather most densely (in an interval that is widened from six combined uncertainties until it
/// no longer gains a third by being doubled), and pairs those near it: within six robust standard deviations
/// there, at least that interval. Lists need not be in order.
///
/// Where it fails: chance pairs gather too when instants are regular: then rival_share comes near 1 and the
/// window must be chosen below half the period. No candidates: everything is unmatched. Throws Error for a
/// window that is not positive, lists on two time scales, and more than most_candidates.
Matching match_instants(const InstantList& first, const InstantList& second, double expected_s,
                        const MatchOptions& options = {});

}  // namespace firstedge
