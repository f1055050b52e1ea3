#include "firstedge/io/text_titles.hpp"

#include <algorithm>
#include <array>
#include <utility>

namespace firstedge {
namespace {

constexpr std::size_t lines_searched = 20;  // above the rows, for the titles

bool has_letter(std::string_view text) {
  return std::any_of(text.begin(), text.end(), [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || static_cast<unsigned char>(c) >= 0x80;
  });
}

std::vector<std::string> split(std::string_view line, char delimiter) {
  std::vector<std::string> fields;
  FieldCursor cursor(line, delimiter);
  while (const auto field = cursor.next()) fields.emplace_back(field->text);
  while (!fields.empty() && fields.back().empty()) fields.pop_back();
  return fields;
}

// "Time (ns)  A in mV" by blanks, with the units put back behind their names.
std::vector<std::string> split_with_units(std::string_view line) {
  std::vector<std::string> merged;
  bool open = false;  // the field before waits for its unit
  for (std::string& field : split(line, ' ')) {
    const bool bracket = field.front() == '(' || field.front() == '[';
    const bool joint = field == "/" || field == "in";
    if (!merged.empty() && (bracket || joint || open)) {
      merged.back() += ' ' + field;
    } else {
      merged.push_back(std::move(field));
    }
    open = joint;
  }
  return merged;
}

// By two or more blanks: titles of several words.
std::vector<std::string> split_at_gaps(std::string_view line) {
  std::vector<std::string> fields;
  line = without_blanks(line);
  while (!line.empty()) {
    const std::size_t gap = std::min(line.find("  "), line.size());
    fields.emplace_back(line.substr(0, gap));
    line = without_blanks(line.substr(gap));
  }
  return fields;
}

// The fields of a line of titles, in the file's own dialect or in another that gives a text for each column.
std::vector<std::string> title_fields(std::string_view line, const TextRows& rows) {
  const std::size_t width = rows.number_columns.back() + 1;
  line = without_comment_mark(line);
  const char own = rows.dialect.delimiter;
  std::vector<std::vector<std::string>> ways;
  if (own != ' ') ways.push_back(split(line, own));
  ways.push_back(split(line, '\t'));
  ways.push_back(split_at_gaps(line));
  ways.push_back(split_with_units(line));
  ways.push_back(split(line, ','));
  ways.push_back(split(line, ';'));
  for (std::size_t i = 0; i < ways.size(); ++i) {
    const bool fits = i == 0 && own != ' ' ? ways[i].size() >= width : ways[i].size() == width;
    if (fits) return ways[i];
  }
  return {};
}

bool is_setting(const HeaderLine& line, TextDialect dialect) {
  const std::string_view text = without_comment_mark(line.text);
  if (text.find_first_of("=:") != std::string_view::npos) return true;
  const HeaderFacts facts = facts_of(std::span(&line, 1), dialect, TimeScale::utc);
  return facts.interval_s || facts.first_sample_s || facts.samples || facts.time_unit || facts.voltage_unit ||
         facts.volts_per_count || facts.trigger;
}

bool all_text(const std::vector<std::string>& fields, const TextRows& rows) {
  return std::all_of(rows.number_columns.begin(), rows.number_columns.end(), [&](std::size_t column) {
    return column < fields.size() && has_letter(fields[column]) &&
           kind_of_field(fields[column], rows.dialect.decimal) == FieldKind::text;
  });
}

bool all_units(const std::vector<std::string>& fields, const TextRows& rows) {
  return all_text(fields, rows) &&
         std::all_of(rows.number_columns.begin(), rows.number_columns.end(),
                     [&](std::size_t column) { return parse_unit(fields[column]).has_value(); });
}

bool is_convincing(const ColumnTitles& titles) {
  return std::any_of(titles.columns.begin(), titles.columns.end(),
                     [](const ColumnTitle& title) { return title.unit.has_value() || names_time(title); });
}

std::optional<ColumnTitles> titles_in(const HeaderLine& line, const TextRows& rows) {
  if (line.text.size() > 65536 || is_setting(line, rows.dialect)) return std::nullopt;
  const std::vector<std::string> fields = title_fields(line.text, rows);
  if (fields.empty() || !all_text(fields, rows)) return std::nullopt;
  ColumnTitles titles{{}, line};
  for (const std::string& field : fields) titles.columns.push_back(parse_column_title(field));
  if (fields.size() == 1 && !is_convincing(titles)) {
    const std::string words = plain_words(fields[0]);
    if (std::count(words.begin(), words.end(), ' ') > 1) return std::nullopt;
  }
  return titles;
}

// The names above a line of units, with those units.
std::optional<ColumnTitles> with_units_of(std::optional<ColumnTitles> names, const HeaderLine& units,
                                          const TextRows& rows) {
  const std::vector<std::string> fields = title_fields(units.text, rows);
  if (!names || !all_units(fields, rows)) return std::nullopt;
  for (std::size_t i = 0; i < names->columns.size() && i < fields.size(); ++i) {
    if (auto unit = parse_unit(fields[i])) names->columns[i].unit = std::move(unit);
  }
  return names;
}

bool is_one_of(const std::string& words, std::span<const std::string_view> list) {
  return std::find(list.begin(), list.end(), words) != list.end();
}

}  // namespace

std::optional<ColumnTitles> find_titles(std::span<const HeaderLine> header, const TextRows& rows) {
  header = header.last(std::min(header.size(), lines_searched));
  bool nearest = true;
  for (std::size_t i = header.size(); i-- > 0;) {
    if (!has_letter(header[i].text)) continue;
    auto titles = titles_in(header[i], rows);
    if (titles && i > 0) {
      auto named = with_units_of(titles_in(header[i - 1], rows), header[i], rows);
      if (named) return named;
    }
    if (titles && (nearest || is_convincing(*titles))) return titles;
    nearest = false;
  }
  return std::nullopt;
}

bool names_time(const ColumnTitle& title) {
  static constexpr std::array<std::string_view, 7> names{"time", "t",    "times",    "seconds",
                                                         "sec",  "secs", "time base"};
  const std::string words = plain_words(title.name);
  return is_one_of(words, names) || words.ends_with(" time");
}

bool names_index(const ColumnTitle& title) {
  static constexpr std::array<std::string_view, 11> names{
      "index", "sample", "samples", "sample number", "sample index", "sample no", "point", "points",
      "n",     "i",      "row"};
  return !title.unit && is_one_of(plain_words(title.name), names);
}

bool names_record(const ColumnTitle& title) {
  static constexpr std::array<std::string_view, 14> names{
      "record",  "record number",  "record no", "record index",   "event",         "event number", "event no",
      "segment", "segment number", "shot",      "trigger number", "trigger index", "trigger no",   "frame"};
  return !title.unit && is_one_of(plain_words(title.name), names);
}

}  // namespace firstedge
