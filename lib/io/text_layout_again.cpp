#include "firstedge/io/text_layout_again.hpp"

#include "firstedge/io/text_rows.hpp"

#include <algorithm>
#include <numeric>

namespace firstedge {
namespace {

// The titles of all columns of numbers, those of columns without one left out.
std::vector<ColumnTitle> titles_of_numbers(const LayoutEvidence& evidence) {
  std::vector<ColumnTitle> titles;
  for (const std::size_t column : evidence.rows.number_columns) {
    if (column < evidence.titles.size()) titles.push_back(evidence.titles[column]);
  }
  return titles;
}

bool has_time_unit(const ColumnTitle& title) {
  return title.unit && title.unit->kind == TextUnit::Kind::time;
}

// Titles choose the columns, with no look at how their numbers behave.
bool titles_tell_roles(const LayoutEvidence& evidence, const TextOptions& options) {
  if (evidence.roles.index || evidence.roles.record || evidence.roles.times.size() != 1) return false;
  const std::vector<ColumnTitle> titles = titles_of_numbers(evidence);
  const bool counts = std::any_of(titles.begin(), titles.end(), [](const ColumnTitle& title) {
    return names_index(title) || names_record(title);
  });
  const auto times = std::count_if(titles.begin(), titles.end(), [](const ColumnTitle& title) {
    return has_time_unit(title) || names_time(title);
  });
  if (counts || (times != 1 && !options.time_column)) return false;
  const std::size_t time = evidence.roles.times.front();
  return options.time_unit || (time < evidence.titles.size() && has_time_unit(evidence.titles[time]));
}

// A header whose last line has a number for the time may be a damaged row.
bool header_ends_without_time(const LayoutEvidence& evidence) {
  const auto last = evidence.lines.subspan(evidence.header_lines - 1, 1);
  return first_numbers(last, evidence.rows, evidence.roles.times.front(), 1).empty();
}

}  // namespace

std::string telling_header(const LayoutEvidence& evidence, const TextOptions& options) {
  const bool nothing_but_numbers = evidence.rows.number_columns.size() == evidence.columns;
  const std::size_t header = evidence.header_lines;
  if (header == 0 || header >= evidence.lines.size() || options.header_lines || !nothing_but_numbers ||
      !titles_tell_roles(evidence, options) || !header_ends_without_time(evidence))
    return "";
  const char* const first = evidence.lines.front().data();
  const std::string_view bytes(first, static_cast<std::size_t>(evidence.lines[header].data() - first));
  return bytes.ends_with('\n') ? std::string(bytes) : "";
}

// What find_layout looks at below a header that tells all the rest: the last lines of its short look for the
// dialect and the columns, the first ones for settings beside the numbers and for blank lines between them.
bool is_layout_of(const TextLayout& layout, TextSource& source) {
  constexpr std::size_t first_rows = 30, last_rows = 30;
  if (layout.telling_header.empty() || layout.double_spaced) return false;
  const std::vector<std::string_view> lines = source.lines_ahead(short_look_bytes);
  if (lines.size() < layout.header_lines + first_rows + last_rows) return false;
  const char* const first = lines.front().data();
  const auto header = static_cast<std::size_t>(lines[layout.header_lines].data() - first);
  if (std::string_view(first, header) != layout.telling_header) return false;

  std::vector<std::size_t> columns(layout.columns);
  std::iota(columns.begin(), columns.end(), std::size_t{0});
  RowParser parser(layout.dialect, columns, layout.columns);
  const auto is_row = [&](std::string_view line) { return parser.parse(line); };
  const auto rows = std::span(lines).subspan(layout.header_lines);
  const auto start = rows.first(first_rows), end = rows.last(last_rows);
  return std::all_of(start.begin(), start.end(), is_row) && std::all_of(end.begin(), end.end(), is_row);
}

}  // namespace firstedge
