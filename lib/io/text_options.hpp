// The Setup's "input" group for delimited text. The table of its names is in text_reader.hpp.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/io/text_units.hpp"

#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// What is stated; everything that is absent is guessed from the text.
struct TextOptions {
  std::optional<char> delimiter;  ///< ' ' for any run of blanks and tabs
  std::optional<char> decimal;
  std::optional<std::size_t> header_lines;
  std::vector<std::string> column_names;
  std::optional<std::string> time_column;  ///< a column's name, its number from 1, or "none"
  std::vector<std::string> voltage_columns;
  std::optional<std::string> record_column;  ///< as time_column
  std::vector<std::string> channels;
  std::optional<double> interval_s;
  std::optional<double> first_sample_s;
  std::optional<TextUnit> time_unit;
  std::vector<TextUnit> voltage_units;  ///< one for all voltage columns, or one each
  std::optional<double> volts_per_count;
  double offset_v = 0;
  double lowest_count = -std::numeric_limits<double>::infinity();
  double highest_count = std::numeric_limits<double>::infinity();
  bool blank_line_separates = true;
  bool header_separates = true;
  bool time_separates = true;
  bool separators_given = false;
  std::size_t record_length = 0;  ///< rows a record; 0: not fixed
  TimeScale time_scale = TimeScale::utc;
  std::string pattern;
};

/// Throws Error for unknown names, wrong kinds and values that contradict each other.
TextOptions text_options(const Settings& input);

}  // namespace firstedge
