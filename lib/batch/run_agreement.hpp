// The tables' side of comparing two stations: arrivals of the channels that stand opposite each other.
#pragma once

#include "firstedge/agree/agree.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/core/instant_list.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <filesystem>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace firstedge {

struct AgreementRunOptions {
  /// A channel of each station; empty: in the order of the tables.
  std::vector<std::pair<std::string, std::string>> pairs;
  std::string method;                ///< "": the first of each table
  FlagSet allowed_flags;             ///< that do not keep a stamp out
  TimeScale scale = TimeScale::utc;  ///< of CSV instants without a Z
};

/// A station's arrivals: a stamp table with triggers, a CSV of instants (io/instant_table.hpp), or a list.
using StationArrivals = std::variant<std::filesystem::path, StampTableInMemory, InstantList>;

/// Each station is named after its file, or as the table in memory or the list is. From two pairs on, the
/// crossings of their channels are read too. Elements that the Setup inside a table lists and the chain does
/// not hold are given as spare. Throws Error as instants_of and read_instant_csv.
Agreement agreement_of_stations(const StationArrivals& first, const StationArrivals& second,
                                const AgreementRunOptions& options = {});

}  // namespace firstedge
