// Lists of instants out of files: a CSV file of ISO 8601 dates, or one channel of a stamp table with
// triggers.
#pragma once

#include "firstedge/core/flags.hpp"
#include "firstedge/core/instant_list.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <filesystem>
#include <string>
#include <vector>

namespace firstedge {

/// Rows that are read at most.
inline constexpr std::size_t most_instants = 20'000'000;

/// Reads a CSV file: lines that begin with '#' are passed over, then a line of names, then a row an arrival.
/// A column `instant` (ISO 8601, as parse_instant reads it) must be there; `uncertainty_s` is its standard
/// uncertainty, `method` a word; any other column is a number, named with its unit behind the last '_' if
/// that is one of s, v, c, k ("height_v", "temperature_c" in degrees Celsius). Empty fields are not known.
///
/// scale: of instants without a Z. Throws Error with file and line for anything else, instants on two scales,
/// an uncertainty below 0, no rows, or more than most_instants.
InstantList read_instant_csv(const std::filesystem::path& file, TimeScale scale);

struct StampChoice {
  std::string channel;
  std::string method;  ///< as listed in the table, "" for the first; "constant_fraction" or with its settings
  FlagSet allowed_flags = {};  ///< stamps with other flags are left out, and counted in the notes
};

/// The arrivals of one channel by one method: trigger instant of the record plus time_s. Columns: height.
/// Chain: the terms of the delays applied (those of the first stretch, with a note where there are several).
/// Throws Error for a channel or method that the table has not, a table without triggers, triggers on two
/// scales, no arrivals that are left, and more than most_instants.
InstantList instants_of(StampTableReader& table, const std::string& name, const StampChoice& choice);

/// Whether the file is a CSV of instants rather than a stamp table, told by its first line that is no
/// comment.
bool is_instant_csv(const std::filesystem::path& file);

}  // namespace firstedge
