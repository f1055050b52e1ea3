#include "firstedge/io/text_numbers.hpp"

#include "firstedge/io/plain_decimal.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <limits>
#include <system_error>

namespace firstedge {
namespace {

bool is_blank(char c) {
  return c == ' ' || c == '\t';
}

LeadingNumber with_decimal_point(std::string_view text) {
  const char* first = text.data();
  const char* const last = first + text.size();
  if (first != last && *first == '+') {
    ++first;
    if (first != last && *first == '-') return {};
  }
  LeadingNumber number;
  const auto [end, failure] = std::from_chars(first, last, number.value);
  if (failure == std::errc::invalid_argument) return {};
  number.length = static_cast<std::size_t>(end - text.data());
  if (std::isfinite(number.value) && failure == std::errc()) return number;
  const bool is_word = *(end - 1) > '9' || *(end - 1) == ')';  // inf, infinity, nan, nan(...)
  if (is_word) {
    number.value = std::numeric_limits<double>::quiet_NaN();
    return number;
  }
  // Out of range: the standard leaves open what stands in the value, so the sign of the exponent decides.
  const std::string_view digits = text.substr(0, number.length);
  const bool tiny =
      digits.find("e-") != std::string_view::npos || digits.find("E-") != std::string_view::npos;
  number.value = 0;
  number.in_range = tiny;
  return number;
}

bool may_stand_in_a_number(char c) {
  return is_digit(c) || c == ',' || c == '-' || c == '+' || is_letter(c);
}

LeadingNumber with_decimal_comma(std::string_view text) {
  std::array<char, 128> copy{};
  std::size_t length = 0;
  while (length < text.size() && may_stand_in_a_number(text[length])) {
    if (length == copy.size()) return {};
    copy[length] = text[length] == ',' ? '.' : text[length];
    ++length;
  }
  const LeadingNumber number = with_decimal_point({copy.data(), length});
  const bool ends_with_comma = number.length > 0 && text[number.length - 1] == ',';
  const std::size_t comma = text.substr(0, number.length).find(',');
  const bool bare =
      comma != std::string_view::npos && (comma + 1 == text.size() || !is_digit(text[comma + 1]));
  return ends_with_comma || bare ? LeadingNumber{} : number;
}

bool is_lost_word(std::string_view field) {
  if (field.find_first_not_of("-*#?_=.!") == std::string_view::npos) return true;
  if (field.starts_with('+') || field.starts_with('-')) field.remove_prefix(1);
  static constexpr std::array<std::string_view, 18> words{
      "overflow", "underflow", "over",    "under", "overload", "overrange", "underrange", "ovf",  "ovl",
      "ovld",     "ol",        "clipped", "na",    "n/a",      "#n/a",      "null",       "none", "invalid"};
  const auto equals = [field](std::string_view word) {
    return std::equal(word.begin(), word.end(), field.begin(), field.end(),
                      [](char a, char b) { return a == b || (b >= 'A' && b <= 'Z' && a == b - 'A' + 'a'); });
  };
  return std::any_of(words.begin(), words.end(), equals);
}

}  // namespace

std::string_view without_blanks(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && (is_blank(text.back()) || text.back() == '\r')) text.remove_suffix(1);
  return text;
}

LeadingNumber leading_number(std::string_view text, char decimal) {
  const PlainNumber plain = plain_decimal(text, decimal);
  if (plain.length > 0) return {.value = plain.value, .length = plain.length};
  return decimal == ',' ? with_decimal_comma(text) : with_decimal_point(text);
}

std::optional<double> parse_number(std::string_view field, char decimal) {
  const LeadingNumber number = leading_number(field, decimal);
  if (number.length == 0 || number.length != field.size() || !number.in_range) return std::nullopt;
  return number.value;
}

FieldKind kind_of_field(std::string_view field, char decimal) {
  if (field.empty()) return FieldKind::empty;
  if (leading_number(field, decimal).length == field.size()) return FieldKind::number;
  return is_lost_word(field) ? FieldKind::lost : FieldKind::text;
}

FieldCursor::FieldCursor(std::string_view line, char delimiter)
    : rest_(delimiter == ' ' ? without_blanks(line) : line),
      delimiter_(delimiter),
      done_(delimiter == ' ' && rest_.empty()) {}

std::optional<Field> FieldCursor::next() {
  if (done_) return std::nullopt;
  if (delimiter_ != ' ' || !rest_.empty()) {
    while (!rest_.empty() && is_blank(rest_.front()) && rest_.front() != delimiter_) rest_.remove_prefix(1);
  }
  Field field;
  std::size_t from = 0;  // where the delimiter is looked for
  if (rest_.starts_with('"')) {
    std::size_t close = rest_.find('"', 1);
    while (close != std::string_view::npos && close + 1 < rest_.size() && rest_[close + 1] == '"') {
      close = rest_.find('"', close + 2);
    }
    if (close != std::string_view::npos) {
      field.quoted = true;
      from = close + 1;
    }
  }
  const std::size_t end = delimiter_ == ' ' ? rest_.find_first_of(" \t", from) : rest_.find(delimiter_, from);
  const std::string_view raw = without_blanks(rest_.substr(0, end));
  // Text behind a closing quote makes the field a plain one, quotes and all.
  field.quoted = field.quoted && raw.size() == from;
  field.text = field.quoted ? without_blanks(raw.substr(1, raw.size() - 2)) : raw;
  if (end == std::string_view::npos) {
    done_ = true;
  } else {
    rest_.remove_prefix(end + 1);
    if (delimiter_ == ' ') rest_ = without_blanks(rest_);
  }
  return field;
}

}  // namespace firstedge
