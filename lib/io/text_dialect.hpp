// Finds how a text file writes its rows of numbers: the delimiter, the decimal sign, the columns, the first
// row.
#pragma once

#include "firstedge/io/text_numbers.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// No file may have more columns than this.
inline constexpr std::size_t most_text_columns = 1024;

/// What stands in each field of a line: 'n' a number, 'e' nothing, 'l' a mark for a lost value, 't' other
/// text; empty fields at the end are left out. At most most_text_columns + 1 fields are looked at.
std::string shape_of_line(std::string_view line, TextDialect dialect);

/// The rows of numbers of a file.
struct TextRows {
  TextDialect dialect;
  std::vector<std::size_t> number_columns;  ///< those that hold a number in nearly every row, rising from 0
};

/// Chooses the delimiter and decimal sign under which most lines are rows of numbers with equally many fields
/// and nothing else in them; of those with at least three quarters of the most lines, the one with most
/// columns, then the first in the order: decimal point with comma, semicolon, tab, '|', blanks; decimal comma
/// with semicolon, tab, '|', blanks, comma (then the numbers are quoted). Only files without two such lines
/// may have other text in their rows. What is given (delimiter, decimal) is not guessed. Nothing if there is
/// no row of numbers; throws Error naming `place` if there are too many columns, or the comma is both signs.
std::optional<TextRows> find_rows(std::span<const std::string_view> lines, std::optional<char> delimiter,
                                  std::optional<char> decimal, const std::string& place);

/// The rows under a dialect known from another file of the run; nothing if most of the last 30 lines are no
/// rows of numbers under it.
std::optional<TextRows> rows_in_dialect(std::span<const std::string_view> lines, TextDialect dialect);

/// True if the line has a number in every number column, but for marks of lost values in some.
bool is_row(std::string_view line, const TextRows& rows);

/// True if nothing but delimiters and blanks stands in the line.
bool is_blank_line(std::string_view line, char delimiter);

/// Index of the first row; lines.size() if there is none.
std::size_t first_row(std::span<const std::string_view> lines, const TextRows& rows);

/// True if every row at the start of these lines (which start with a row; at least 3 rows) is followed by a
/// blank line, so that blank lines separate nothing.
bool is_double_spaced(std::span<const std::string_view> lines, const TextRows& rows);

}  // namespace firstedge
