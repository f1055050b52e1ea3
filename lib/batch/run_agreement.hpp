// The tables' side of comparing two stations: arrivals of the channels that stand opposite each other.
#pragma once

#include "firstedge/agree/agree.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <string>
#include <utility>
#include <vector>

namespace firstedge {

struct AgreementRunOptions {
  /// A channel of each station; empty: in the order of the tables.
  std::vector<std::pair<std::string, std::string>> pairs;
  std::string method;                ///< "": the first of each table
  FlagSet allowed_flags;             ///< that do not keep a stamp out
  TimeScale scale = TimeScale::utc;  ///< of CSV instants without a Z
};

/// Each station is a stamp table with triggers, in a file or in memory, or a CSV of instants
/// (io/instant_table.hpp); named after its file, or as the table in memory is. From two pairs on, the
/// crossings of their channels are read too. Elements that the Setup inside a table lists and the chain does
/// not hold are given as spare. Throws Error as instants_of and read_instant_csv.
Agreement agreement_of_stations(const StampTableAt& first, const StampTableAt& second,
                                const AgreementRunOptions& options = {});

}  // namespace firstedge
