#include "firstedge/io/text_rows.hpp"

#include "firstedge/io/plain_decimal.hpp"
#include "firstedge/io/text_units.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

bool is_blank(char c) {
  return c == ' ' || c == '\t';
}

}  // namespace

RowParser::RowParser(TextDialect dialect, std::vector<std::size_t> wanted, std::size_t columns)
    : dialect_(dialect), wanted_(std::move(wanted)), columns_(columns), values_(wanted_.size()) {}

bool RowParser::parse(std::string_view line) {
  return parse_plain(line) || parse_fields(line);
}

// Reads the wanted fields in the usual case: no quotes, nothing doubtful. Where the last one ends; null for
// everything else.
const char* RowParser::behind_wanted(std::string_view text, char line_end) {
  const char delimiter = dialect_.delimiter;
  const bool white = delimiter == ' ';
  const auto is_end = [&](char c) { return white ? is_blank(c) : c == delimiter; };
  const char* at = text.data();
  const char* const end = at + text.size();
  const auto skip_blanks = [&] {
    while (at != end && is_blank(*at) && (white || *at != delimiter)) ++at;
  };
  std::size_t column = 0;
  for (std::size_t i = 0; i < wanted_.size(); ++i) {
    for (; column < wanted_[i]; ++column) {
      if (white) skip_blanks();
      while (at != end && !is_end(*at)) {
        if (*at == '"' || *at == line_end) return nullptr;
        ++at;
      }
      if (at == end) return nullptr;
      ++at;
    }
    skip_blanks();
    const std::string_view rest(at, static_cast<std::size_t>(end - at));
    PlainNumber number = plain_decimal(rest, dialect_.decimal);
    if (number.length == 0) {
      const LeadingNumber any = leading_number(rest, dialect_.decimal);
      if (any.length == 0 || !any.in_range) return nullptr;
      number = {any.value, any.length};
    }
    values_[i] = number.value;
    at += number.length;
    if (!white) skip_blanks();
    if (i + 1 == wanted_.size()) break;
    if (at != end && !is_end(*at)) return nullptr;
    if (at != end) {
      ++at;
      ++column;
    }
  }
  return at;
}

bool RowParser::parse_plain(std::string_view line) {
  const char* const at = behind_wanted(line, '\n');
  if (at == nullptr) return false;
  const std::string_view rest = line.substr(static_cast<std::size_t>(at - line.data()));
  if (rest.empty()) return true;
  const bool field_ends =
      dialect_.delimiter == ' ' ? is_blank(rest.front()) : rest.front() == dialect_.delimiter;
  return field_ends && is_quiet(rest, wanted_.back());
}

RowParser::PlainLine RowParser::parse_plain_line(std::string_view text, char line_end) {
  if (wanted_.back() + 1 < columns_) return {};  // what stands further right is for parse() to judge
  const char* at = behind_wanted(text, line_end);
  if (at == nullptr) return {};
  const char* const end = text.data() + text.size();
  while (at != end && *at != line_end && (is_blank(*at) || *at == dialect_.delimiter || *at == '\r')) ++at;
  if (at == end || *at != line_end) return {};
  const auto bytes = static_cast<std::size_t>(at - text.data());
  std::size_t length = bytes;
  while (text[length - 1] == '\r') --length;  // there is a number in front of them
  return {.length = length, .with_end = bytes + 1};
}

// The rest of a row behind the field of that column: nothing may stand further right than columns_.
bool RowParser::is_quiet(std::string_view rest, std::size_t column) const {
  const bool empty = std::all_of(rest.begin(), rest.end(),
                                 [&](char c) { return is_blank(c) || c == dialect_.delimiter || c == '\r'; });
  if (empty) return true;
  if (column + 1 >= columns_) return false;
  FieldCursor cursor(rest, dialect_.delimiter);
  if (dialect_.delimiter != ' ') cursor.next();  // the empty text between the number and its delimiter
  for (auto field = cursor.next(); field; field = cursor.next()) {
    if (++column >= columns_ && !field->text.empty()) return false;
  }
  return true;
}

bool RowParser::parse_fields(std::string_view line) {
  FieldCursor cursor(line, dialect_.delimiter);
  std::size_t column = 0;
  std::size_t found = 0;
  for (auto field = cursor.next(); field; field = cursor.next(), ++column) {
    if (found < wanted_.size() && column == wanted_[found]) {
      const auto number = parse_number(field->text, dialect_.decimal);
      if (!number) return false;
      values_[found++] = *number;
    } else if (column >= columns_ && !field->text.empty()) {
      return false;
    }
  }
  return found == wanted_.size();
}

std::string RowParser::fault_of(std::string_view line) const {
  FieldCursor cursor(line, dialect_.delimiter);
  std::size_t column = 0;
  std::size_t found = 0;
  for (auto field = cursor.next(); field; field = cursor.next(), ++column) {
    const bool wanted = found < wanted_.size() && column == wanted_[found];
    if (wanted) ++found;
    const std::string text = readable(field->text, 40);
    if (wanted && field->text.empty()) return fmt::format("field {} is empty", column + 1);
    if (wanted && !parse_number(field->text, dialect_.decimal)) {
      const LeadingNumber number = leading_number(field->text, dialect_.decimal);
      const bool too_large = number.length == field->text.size() && !number.in_range;
      return too_large ? fmt::format("field {} is '{}', beyond the range of a number", column + 1, text)
                       : fmt::format("field {} is '{}', not a number", column + 1, text);
    }
    if (!wanted && column >= columns_ && !field->text.empty()) {
      return fmt::format("field {} is '{}' where the rows have {} fields", column + 1, text, columns_);
    }
  }
  return fmt::format("there are {} fields where {} are needed", column, wanted_.back() + 1);
}

std::optional<double> RowParser::number_in(std::string_view line, std::size_t wanted_column) const {
  FieldCursor cursor(line, dialect_.delimiter);
  std::optional<Field> field = cursor.next();
  for (std::size_t i = 0; i < wanted_column && field; ++i) field = cursor.next();
  return field ? parse_number(field->text, dialect_.decimal) : std::nullopt;
}

bool RowParser::has_wanted_number(std::string_view line) const {
  return std::any_of(wanted_.begin(), wanted_.end(),
                     [&](std::size_t column) { return number_in(line, column).has_value(); });
}

}  // namespace firstedge
