// Units and column titles as people write them in text files: "Time (ns)", "A [mV]", "counts", "GS/s".
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace firstedge {

struct TextUnit {
  enum class Kind : std::uint8_t { time, voltage, count, frequency, none };
  Kind kind = Kind::none;
  double factor = 1;   ///< to s, V, counts or Hz
  std::string symbol;  ///< as it stood in the file
};

/// The unit that the text is, with or without brackets; nothing for anything else. Knows s, V, Hz and samples
/// a second with prefixes, the words seconds, volts and counts in common spellings, and writes "us" as "µs",
/// also with the single-byte micro sign of Latin-1. A small v ("mv") stands for volts.
std::optional<TextUnit> parse_unit(std::string_view text);

/// value * factor, rounded once for the powers of ten below 1, which no double holds: 0.2 ns is 2e-10 s.
double scaled(double value, double factor);

/// A column's title taken apart.
struct ColumnTitle {
  std::string name;                         ///< without the unit; the whole title if it is nothing but a unit
  std::optional<TextUnit> unit;             ///< if a known unit stands in or behind it
  std::optional<std::string> unknown_unit;  ///< what stands in brackets at its end and is no unit known here
};

/// Knows "name (unit)", "name [unit]", "name / unit", "name in unit", "name_unit", and a bare unit.
ColumnTitle parse_column_title(std::string_view title);

/// Lower-case words of a title or a header's key, joined by single blanks: "SampleInterval" and
/// "sample-interval" become "sample interval". Text in brackets at the end is left out.
std::string plain_words(std::string_view text);

/// The text if it is UTF-8, else its bytes read as Latin-1; tabs become blanks, other control characters '?'.
/// Never longer than `limit` bytes, "..." included.
std::string readable(std::string_view text, std::size_t limit = 1000);

}  // namespace firstedge
