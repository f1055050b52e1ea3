// The numbers of one row, at full speed: only the columns that are wanted are read.
#pragma once

#include "firstedge/io/text_numbers.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// Reads the wanted columns of rows. NaN stands for the words nan and inf.
class RowParser {
 public:
  /// wanted: columns in rising order, without repeats. columns: fields further right must be empty.
  RowParser(TextDialect dialect, std::vector<std::size_t> wanted, std::size_t columns);

  /// False if the line is no row: then values() are void and fault_of(line) says why.
  bool parse(std::string_view line);

  /// A line without its end and the carriage returns before it, and with them.
  struct PlainLine {
    std::size_t length = 0, with_end = 0;
  };
  /// The line that `text` begins with, if it is a plain row whose end stands in the text: then values() are
  /// those that parse() takes from it. Nothing (0, 0) for every other line, row or none.
  PlainLine parse_plain_line(std::string_view text, char line_end);

  /// One value a wanted column, of the last row parsed.
  std::span<const double> values() const { return values_; }

  /// Why the line is no row, for an error sentence: "field 2 is '0.1x', not a number".
  std::string fault_of(std::string_view line) const;

  /// The number in one wanted column, in lines that are no rows too; nothing if none stands there.
  std::optional<double> number_in(std::string_view line, std::size_t wanted_column) const;

  /// True if one of the wanted fields is a number.
  bool has_wanted_number(std::string_view line) const;

 private:
  bool parse_plain(std::string_view line);
  const char* behind_wanted(std::string_view text, char line_end);
  bool parse_fields(std::string_view line);
  bool is_quiet(std::string_view rest, std::size_t column) const;

  TextDialect dialect_;
  std::vector<std::size_t> wanted_;
  std::size_t columns_;
  std::vector<double> values_;
};

}  // namespace firstedge
