// The comparing run: every candidate times the same records.
#pragma once

#include "firstedge/compare/compare.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// What is compared: settings as shares of each channel's own pulses (compare/candidates.hpp). The methods
/// are those of lib/timing; the Setup's baseline, search, and filters hold for every candidate, and the
/// low-pass of `cuts` (a Bessel of order 4, zero phase) comes after its filters. A corner beyond a third of
/// the sampling rate is left out.
struct CandidatePlan {
  std::vector<double> thresholds{0.1, 0.2, 0.3, 0.4, 0.5};  ///< of the leading edge
  /// What tells the walk of a leading edge ("height", "time_over_threshold", "slew"): each threshold is tried
  /// without and with each of these corrections.
  std::vector<std::string> walks{"height"};
  std::vector<double> fractions{0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9};
  std::vector<double> delayed_fractions{0.2, 0.3, 0.5};  ///< of the delayed fraction, with each of:
  std::vector<double> delays{0.5, 1.0, 1.5};
  bool template_fit = true;
  bool template_family = false;
  std::vector<double> cuts{0.8, 1.5, 2.5};  ///< unfiltered comes first in any case
};

struct CompareRunOptions {
  CandidatePlan plan;
  std::string first, second;                   ///< channels; both empty: the first two of the run
  std::optional<std::string> bare, amplified;  ///< both or none
  FlagSet allowed_flags;
  std::uint64_t most_records = 20'000;  ///< the first ones: the times stay in memory
  int threads = 0;                      ///< 0: as many as the machine has
  std::size_t records_in_block = 256;
  CompareOptions compare;                                             ///< its channels are filled in here
  std::function<void(std::uint64_t records, double share)> progress;  ///< after each set of candidates
};

struct CompareRun {
  Result result;
  ReadingAccount account;
};

/// Learns the channels for each set of candidates (with a filter: from at most 500 records), reads the
/// records once for each filter, and compares (analyse_comparison). A candidate whose template or walk
/// correction cannot be learnt times nothing and so does not take part. Same bits for any threads and block
/// size. Throws Error as learn_channels and analyse_comparison, for a channel without pulses, and where only
/// one of bare and amplified is named or they are not the pair compared.
CompareRun compare_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                       const CompareRunOptions& options);

}  // namespace firstedge
