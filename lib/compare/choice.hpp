// Choice: settings chosen on one half of the records, so that the other half can judge them fairly.
#pragma once

#include "firstedge/compare/candidates.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace firstedge {

/// The records and candidates that two channels are compared on.
struct CommonGround {
  std::size_t first = 0, second = 0;             ///< channels; differences are first less second
  std::vector<std::size_t> of_first, of_second;  ///< candidates that time enough pulses to take part
  std::vector<std::size_t> choosing, judging;    ///< rows that all of these can use, by is_for_choosing
  std::size_t with_both = 0;                     ///< rows that some candidate of each channel can use
};

/// A candidate takes part in a channel when it can use at least `fewest_share` of the pulses that the best
/// supplied one of that channel can: one that times easy pulses only would look better than it is. All are
/// then held to the same records.
CommonGround common_ground(const CandidateStamps& stamps, std::size_t first, std::size_t second,
                           double fewest_share);

/// Differences of the two channels at these rows, by a candidate of each.
std::vector<double> differences(const CandidateStamps& stamps, const CommonGround& ground,
                                const std::vector<std::size_t>& rows, std::size_t of_first,
                                std::size_t of_second);

/// A method with the settings that did best on the choosing half.
struct Contender {
  std::string name;  ///< "template_fit", "leading_edge, walk by height, filtered", "each channel its own"
  std::size_t of_first = 0, of_second = 0;  ///< candidates
  double chosen_s = 0;  ///< central half width on the choosing half: too good by the choice
};

/// One contender a method without filter and one with, then one where each channel may have a method of
/// its own, if that is another choice than these. Each by turns: the best candidate of one channel
/// with the other's held, until neither moves. In rising order of spread. Empty without common records.
std::vector<Contender> choose_contenders(const CandidateStamps& stamps, const CommonGround& ground);

}  // namespace firstedge
