// Comparing: which method with which settings suits which channel, and whether the amplifier pays.
#pragma once

#include "firstedge/compare/amplification.hpp"
#include "firstedge/compare/candidates.hpp"
#include "firstedge/compare/choice.hpp"
#include "firstedge/compare/paired_spread.hpp"
#include "firstedge/compare/scan.hpp"
#include "firstedge/core/result.hpp"

#include <optional>
#include <string>
#include <vector>

namespace firstedge {

struct CompareOptions {
  std::string first, second;   ///< channels; the difference is first less second
  double level = 0.05;         ///< chance that any difference is told where there is none
  double near_best = 0.05;     ///< a spread so little over the least counts as flat
  double fewest_share = 0.95;  ///< common_ground
  BootstrapOptions bootstrap{.resamples = 400};
};

/// What the analysis of an amplifier needs beside the stamps.
struct AmplifierRecords {
  std::string bare, amplified;                          ///< channels
  std::vector<double> bare_noise_v, amplified_noise_v;  ///< single samples without a pulse
  PowerSpectrum bare_signal, bare_noise, amplified_signal, amplified_noise;
};

/// A scan and what it is of.
struct NamedScan {
  ScanAxis axis = ScanAxis::fraction;
  std::size_t channel = 0;
  std::string kind;  ///< kind_of() the candidates
  Scan scan;
  std::optional<double> without_filter_s;  ///< spread without the filter, for ScanAxis::cut
};

/// Methods and settings of one pair of channels compared on the same records.
///
/// Settings are chosen on one half of the records (choice.hpp) and judged on the other, so that the spreads
/// in table "methods" are not too good by the choice. Recommended, and first in
/// every table, is the simplest method that the one with the least spread does not beat on the choosing half.
/// The table "differences" says which method beats which, with intervals that hold for all of them together
/// (paired_spread.hpp). Scans (table "scans" and a plot each) vary one setting of one channel about its
/// method's choice, the other channel as in the best choice, on all common records. With `amplifier`, the
/// table "amplifier" and two plots (amplification.hpp). The Cramer-Rao bound of both channels, unfiltered,
/// stands beside the spreads. Without enough common records the result says so and has no figures. Throws
/// Error for channels that the stamps do not have.
Result analyse_comparison(const CandidateStamps& stamps, const CompareOptions& options,
                          const std::optional<AmplifierRecords>& amplifier = std::nullopt);

}  // namespace firstedge
