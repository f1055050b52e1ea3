// Tables and plots of a comparison.
#pragma once

#include "firstedge/compare/compare.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

/// A comparison with all that is shown of it.
struct Comparison {
  const CandidateStamps& stamps;
  CommonGround ground;
  std::vector<Contender> contenders;  ///< the best first
  ComparedSpreads judged;             ///< in the order of contenders, on the judging half
  double bound_s = 0;  ///< root mean square over the judging half, both channels; NaN without one
  std::vector<NamedScan> scans;
};

Table methods_table(const Comparison& comparison);
Table differences_table(const Comparison& comparison, double level);
Table scans_table(const Comparison& comparison, double near_best);
Table candidates_table(const Comparison& comparison);
Table counts_table(const Comparison& comparison);
Plot methods_plot(const Comparison& comparison);
/// The scans of one axis and method, a series a channel.
std::vector<Plot> scan_plots(const Comparison& comparison, double near_best);

Table amplifier_table(const Amplification& found);
Plot amplifier_plot(const Amplification& found);
Plot saturation_plot(const Amplification& found, const AmplifierInput& input);

}  // namespace firstedge
