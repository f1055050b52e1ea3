// Survey: a stamp table gone through twice, to bin its pulses and to shortlist those that a person should
// see.
#pragma once

#include "firstedge/browse/shortlist.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

struct SurveyOptions {
  std::string method;         ///< "": the first template method of the table, or its first method
  std::string first, second;  ///< channels whose difference is binned; "": the first two of the table
  std::size_t of_each_flag = 12, of_each_bin = 2, of_each_extreme = 4;
};

/// Counts of pulses (or pairs) in even bins, with a shortlist for each. The bins reach from the median six
/// times as far as the 16 % and the 84 % quantile, as far as there are values, in a fixed sample of 20,000 of
/// them.
struct BinnedPulses {
  std::vector<double> edges;
  std::vector<std::uint64_t> counts;
  std::vector<Shortlist> lists;
  std::uint64_t outside = 0;
};

struct ChannelSurvey {
  std::uint64_t pulses = 0, flagged = 0;
  std::vector<Shortlist> flags;  ///< in the order of flag_table
  std::vector<Shortlist> good;   ///< one list: without a flag
  BinnedPulses heights;
  /// Lowest, highest, earliest, latest, least certain, worst fit.
  std::vector<Shortlist> extremes;
};

struct Survey {
  std::size_t method = 0;
  std::optional<std::array<std::size_t, 2>> pair;  ///< first less second; nothing with one channel
  std::vector<ChannelSurvey> channels;
  BinnedPulses differences;         ///< of the times of the first pulses of a record, flags disregarded
  std::vector<Shortlist> furthest;  ///< pairs: lowest and highest difference
  std::uint64_t pairs = 0;
};

/// What ChannelSurvey::extremes and Survey::furthest hold, in order.
extern const std::array<const char*, 6> extreme_names;
extern const std::array<const char*, 2> furthest_names;

/// Throws Error for what is no stamp table or names a method or channel that is not in it.
Survey survey_table(const StampTableAt& table, const SurveyOptions& options);

/// All shortlists in the order in which they take their turns: flags, extremes, pulses without a flag, bins.
std::vector<const Shortlist*> shortlists_of(const Survey& survey);

}  // namespace firstedge
