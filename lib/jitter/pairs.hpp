// Pairs: the time differences of two channels over the records in which both are usable.
#pragma once

#include "firstedge/core/flags.hpp"
#include "firstedge/jitter/jitter_stamps.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Which stamps may be used.
struct StampChoice {
  FlagSet allowed_flags;
  double lowest_height_v = 0, highest_height_v = std::numeric_limits<double>::infinity();
};

/// Why a stamp is not usable: the first that holds, in this order.
enum class Refusal : std::uint8_t { flagged, no_time, height, none };
Refusal refusal_of(const StampColumn& column, std::size_t row, const StampChoice& choice);

/// What became of the records of a pair: only_first + only_second + in_both is every record that either
/// channel has; used + flagged + no_time + height is in_both.
struct PairAccount {
  std::uint64_t only_first = 0, only_second = 0, in_both = 0;
  std::uint64_t used = 0, flagged = 0, no_time = 0, height = 0;
  std::array<std::uint64_t, flag_table.size()> by_flag{};  ///< among flagged; one pair may count in several
};

/// Differences first less second, in rising order of records; all columns have the same size.
struct PairSample {
  std::string name;  ///< "S1 − S2"
  std::size_t first = 0, second = 0;
  std::vector<std::uint64_t> record;
  std::vector<double> difference_s;
  std::vector<double> stated_s, bound_s;  ///< of both channels in quadrature; NaN where one is not known
  std::vector<double> lower_height_v;     ///< the lower of the two; NaN where one is not known
  PairAccount account;

  std::size_t size() const { return record.size(); }
};

PairSample pair_sample(const JitterStamps& stamps, std::size_t method, std::size_t first, std::size_t second,
                       const StampChoice& choice);

/// Times of several channels over the records in which all are usable: times[channel][record].
std::vector<std::vector<double>> common_times(const JitterStamps& stamps, std::size_t method,
                                              std::span<const std::size_t> channels,
                                              const StampChoice& choice);

}  // namespace firstedge
