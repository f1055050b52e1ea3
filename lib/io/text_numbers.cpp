#include "firstedge/io/text_numbers.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdint>
#include <limits>
#include <system_error>

namespace firstedge {
namespace {

bool is_blank(char c) {
  return c == ' ' || c == '\t';
}

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

bool is_letter(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

// The usual case, a decimal of few digits without exponent: m / 10^k is rounded once, so it is the nearest
// double, while m < 2^53 and k <= 22, since both are doubles then (W. D. Clinger, How to read floating point
// numbers accurately, PLDI 1990, doi 10.1145/93542.93557). Length 0 for everything else.
LeadingNumber plain_decimal(std::string_view text, char decimal) {
  static constexpr std::array<double, 19> powers{1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8, 1e9,
                                                 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18};
  constexpr std::uint64_t most = std::uint64_t{1} << 53U;
  const char* at = text.data();
  const char* const end = at + text.size();
  const bool negative = at != end && *at == '-';
  if (at != end && (*at == '-' || *at == '+')) ++at;
  std::uint64_t digits = 0;
  const char* const first = at;
  const char* point = nullptr;
  for (; at != end; ++at) {
    if (is_digit(*at)) {
      digits = digits * 10 + static_cast<std::uint64_t>(*at - '0');
    } else if (*at == decimal && point == nullptr) {
      point = at;
    } else {
      break;
    }
  }
  const auto length = at - first;  // at most 19 digits do not overflow
  const auto decimals = point == nullptr ? 0 : at - point - 1;
  const bool odd = length == 0 || length > 19 || digits >= most || (point != nullptr && decimals == 0);
  const bool goes_on = at != end && is_letter(*at);  // an exponent
  if (odd || goes_on) return {};
  const double value = static_cast<double>(digits) / powers[static_cast<std::size_t>(decimals)];
  return {negative ? -value : value, static_cast<std::size_t>(at - text.data()), true};
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
  const LeadingNumber plain = plain_decimal(text, decimal);
  if (plain.length > 0) return plain;
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
