// The layout of one text file: where its rows start, which columns are time and voltages, in which units.
#pragma once

#include "firstedge/io/text_dialect.hpp"
#include "firstedge/io/text_header.hpp"
#include "firstedge/io/text_options.hpp"
#include "firstedge/io/text_source.hpp"

#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace firstedge {

struct TimeColumn {
  std::size_t column = 0;
  double factor_s = 1;  ///< of the unit
};

struct VoltageColumn {
  std::size_t column = 0;
  std::string name;
  double volts_per_count = 1;       ///< a count is the number as it is printed
  bool whole_counts = false;        ///< the unit is counts: whole numbers are kept as such
  std::optional<std::size_t> time;  ///< index into TextLayout::times: the nearest on its left, or the first
};

struct TextLayout {
  TextDialect dialect;
  std::uint64_t header_lines = 0;
  std::size_t columns = 0;  ///< fields further right must be empty
  std::vector<TimeColumn> times;
  std::vector<VoltageColumn> voltages;
  std::optional<std::size_t> index_column;      ///< counts the samples
  std::optional<std::size_t> record_column;     ///< counts the records
  bool double_spaced = false;                   ///< every row has a blank line behind it
  HeaderFacts facts;                            ///< from the header and beside the first rows
  std::set<std::string> header_keys;            ///< header_key of each header line
  std::string title_line;                       ///< the line with the columns' names, if any
  std::vector<std::string> guesses;             ///< sentences for RunDescription
  std::map<std::string, std::string> metadata;  ///< "line 0003": the text
  std::string telling_header;                   ///< of text_layout_again.hpp
};

/// How much of a file is looked at where the dialect is known.
inline constexpr std::size_t short_look_bytes = std::size_t{1} << 13U;

/// Looks at the lines ahead (64 KiB; 1 MiB if no row of numbers stands in them) without taking them. `hint`
/// is the dialect of another file of the run: tried first, and kept if it fits. Throws Error if there are no
/// rows, a column that the options name is not there, no column is left for a voltage, or nothing gives the
/// sample interval.
TextLayout find_layout(TextSource& source, const TextOptions& options,
                       std::optional<TextDialect> hint = std::nullopt);

}  // namespace firstedge
