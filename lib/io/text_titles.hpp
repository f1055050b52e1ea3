// Column titles: the header line that names the columns, and the line of units below it.
#pragma once

#include "firstedge/io/text_dialect.hpp"
#include "firstedge/io/text_header.hpp"
#include "firstedge/io/text_units.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

struct ColumnTitles {
  std::vector<ColumnTitle> columns;  ///< one a column, from the left
  HeaderLine line;                   ///< where the names stand
};

/// The line nearest above the rows that has a text for every column of numbers and is no setting ("key:
/// value"); a line of units alone belongs to the names above it. Further up than the last line with letters,
/// only a line with a unit or a word for time is taken; for files of one column, only a line with a known
/// unit or of at most two words.
std::optional<ColumnTitles> find_titles(std::span<const HeaderLine> header, const TextRows& rows);

/// True for "time", "t", "seconds" and titles that end with "time".
bool names_time(const ColumnTitle& title);
/// True for "sample", "index", "point" and the like: a column that counts samples.
bool names_index(const ColumnTitle& title);
/// True for "record", "event", "segment", "trigger number" and the like: a column that counts records.
bool names_record(const ColumnTitle& title);

}  // namespace firstedge
