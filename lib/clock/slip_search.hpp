// Wild edges and jumps in a series of phases: what does not belong to the slow course of a clock.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// The phase of each edge against time, and whether it may be used.
struct PhaseSeries {
  std::vector<double> time_s, phase_s;
  std::vector<bool> used;

  std::size_t size() const { return time_s.size(); }
};

/// Marks as not used what lies further than wild_edge robust deviations from the median of the wild_window
/// edges on either side (F. R. Hampel's identifier, J. Am. Stat. Assoc. 69 (1974) 383). The deviation is the
/// scaled median deviation of all such distances.
void leave_out_wild(PhaseSeries& series);
inline constexpr double wild_edge = 6;
inline constexpr std::size_t wild_window = 5;

/// By how much the phase is higher from edge `at` on than before, as the step in a straight line through the
/// slip_window used edges on either side that lie within [begin, end) (least squares; derived). The
/// uncertainty is for independent edges of deviation 1: multiply it. Nothing where a side has fewer than 3
/// edges.
std::optional<Estimate> step_at(const PhaseSeries& series, std::size_t at, std::size_t begin,
                                std::size_t end);
inline constexpr std::size_t slip_window = 16;

/// A jump of the phase before edge `at`.
struct PhaseSlip {
  std::size_t at = 0;
  Estimate size_s;
};

/// Jumps of at least smallest_s and slip_significance standard errors, in rising order, and the sizes of
/// those `known` (edges before which it jumped, rising), measured anew. The standard error is the larger of
/// that for white noise (from neighbours' differences) and the robust spread of step_at over the whole
/// series, so that a course that wanders is no slip. The phases are returned without the jumps.
struct SlipSearch {
  std::vector<PhaseSlip> slips;
  PhaseSeries series;
};
SlipSearch find_slips(PhaseSeries series, const std::vector<std::size_t>& known, double smallest_s);
inline constexpr double slip_significance = 6;

}  // namespace firstedge
