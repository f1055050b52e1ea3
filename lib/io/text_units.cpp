#include "firstedge/io/text_units.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/units.hpp"
#include "firstedge/io/text_numbers.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace firstedge {
namespace {

bool is_upper(char c) {
  return c >= 'A' && c <= 'Z';
}
bool is_lower(char c) {
  return c >= 'a' && c <= 'z';
}
bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

std::string lower_case(std::string_view text) {
  std::string lower(text);
  for (char& c : lower) {
    if (is_upper(c)) c = static_cast<char>(c - 'A' + 'a');
  }
  return lower;
}

// Length of the UTF-8 sequence at the front (RFC 3629), 0 if there is none.
std::size_t utf8_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned lead = byte(0);
  if (lead < 0x80) return 1;
  const std::size_t length = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
  if (lead < 0xC2 || lead > 0xF4 || text.size() < length) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0U) != 0x80) return 0;
  }
  const unsigned second = byte(1);
  const bool overlong = (lead == 0xE0 && second < 0xA0) || (lead == 0xF0 && second < 0x90);
  const bool outside = (lead == 0xED && second > 0x9F) || (lead == 0xF4 && second > 0x8F);
  return overlong || outside ? 0 : length;
}

bool is_utf8(std::string_view text) {
  while (!text.empty()) {
    const std::size_t length = utf8_length(text);
    if (length == 0) return false;
    text.remove_prefix(length);
  }
  return true;
}

std::string from_latin1(std::string_view text) {
  std::string utf8;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80) {
      utf8 += c;
    } else {
      utf8 += static_cast<char>(0xC0U | (byte >> 6U));
      utf8 += static_cast<char>(0x80U | (byte & 0x3FU));
    }
  }
  return utf8;
}

std::string_view without_brackets(std::string_view text) {
  text = without_blanks(text);
  const bool round = text.starts_with('(') && text.ends_with(')');
  const bool square = text.starts_with('[') && text.ends_with(']');
  return (round || square) && text.size() >= 2 ? without_blanks(text.substr(1, text.size() - 2)) : text;
}

struct UnitWord {
  std::string_view word;
  TextUnit::Kind kind;
  double factor;
};

// Spelt-out units; lower case.
constexpr std::array<UnitWord, 30> unit_words{{
    {"sec", TextUnit::Kind::time, 1},
    {"secs", TextUnit::Kind::time, 1},
    {"second", TextUnit::Kind::time, 1},
    {"seconds", TextUnit::Kind::time, 1},
    {"msec", TextUnit::Kind::time, 1e-3},
    {"usec", TextUnit::Kind::time, 1e-6},
    {"nsec", TextUnit::Kind::time, 1e-9},
    {"psec", TextUnit::Kind::time, 1e-12},
    {"millisecond", TextUnit::Kind::time, 1e-3},
    {"milliseconds", TextUnit::Kind::time, 1e-3},
    {"microsecond", TextUnit::Kind::time, 1e-6},
    {"microseconds", TextUnit::Kind::time, 1e-6},
    {"nanosecond", TextUnit::Kind::time, 1e-9},
    {"nanoseconds", TextUnit::Kind::time, 1e-9},
    {"picosecond", TextUnit::Kind::time, 1e-12},
    {"picoseconds", TextUnit::Kind::time, 1e-12},
    {"volt", TextUnit::Kind::voltage, 1},
    {"volts", TextUnit::Kind::voltage, 1},
    {"millivolt", TextUnit::Kind::voltage, 1e-3},
    {"millivolts", TextUnit::Kind::voltage, 1e-3},
    {"microvolt", TextUnit::Kind::voltage, 1e-6},
    {"microvolts", TextUnit::Kind::voltage, 1e-6},
    {"count", TextUnit::Kind::count, 1},
    {"counts", TextUnit::Kind::count, 1},
    {"adc", TextUnit::Kind::count, 1},
    {"adc counts", TextUnit::Kind::count, 1},
    {"lsb", TextUnit::Kind::count, 1},
    {"digits", TextUnit::Kind::count, 1},
    {"codes", TextUnit::Kind::count, 1},
    {"hertz", TextUnit::Kind::frequency, 1},
}};

std::optional<std::pair<TextUnit::Kind, double>> unit_of(const std::string& text) {
  if (const auto factor = unit_factor(text, "s")) return std::pair{TextUnit::Kind::time, *factor};
  if (const auto factor = unit_factor(text, "V")) return std::pair{TextUnit::Kind::voltage, *factor};
  if (const auto factor = unit_factor(text, "Hz")) return std::pair{TextUnit::Kind::frequency, *factor};
  if (text == "S") return std::pair{TextUnit::Kind::time, 1.0};
  for (const std::string_view rate : {"samples/s", "Sa/s", "S/s"}) {
    if (!text.ends_with(rate)) continue;
    const std::string prefix = text.substr(0, text.size() - rate.size());
    if (const auto factor = unit_factor(prefix + "Hz", "Hz")) {
      return std::pair{TextUnit::Kind::frequency, *factor};
    }
  }
  const std::string lower = lower_case(text);
  for (const UnitWord& one : unit_words) {
    if (one.word == lower) return std::pair{one.kind, one.factor};
  }
  if (text.ends_with('v')) return unit_of(text.substr(0, text.size() - 1) + 'V');
  return std::nullopt;
}

std::optional<ColumnTitle> split_title(std::string_view name, std::string_view unit) {
  auto known = parse_unit(unit);
  name = without_blanks(name);
  if (!known || name.empty()) return std::nullopt;
  return ColumnTitle{readable(name), std::move(known), std::nullopt};
}

}  // namespace

std::optional<TextUnit> parse_unit(std::string_view text) {
  if (text.size() > 40) return std::nullopt;
  const std::string_view bare = without_brackets(text);
  const std::string symbol = is_utf8(bare) ? std::string(bare) : from_latin1(bare);
  if (symbol.empty()) return std::nullopt;
  const auto unit = unit_of(symbol);
  if (!unit) return std::nullopt;
  return TextUnit{unit->first, unit->second, symbol};
}

double scaled(double value, double factor) {
  return factor < 1 ? value / std::round(1 / factor) : value * factor;
}

ColumnTitle parse_column_title(std::string_view title) {
  title = without_blanks(title);
  if (auto unit = parse_unit(title)) return {readable(title), std::move(unit), std::nullopt};
  for (const std::string_view brackets : {"()", "[]"}) {
    const std::size_t open = title.rfind(brackets[0]);
    if (!title.ends_with(brackets[1]) || open == std::string_view::npos) continue;
    if (auto parts = split_title(title.substr(0, open), title.substr(open))) return *parts;
    return {readable(title), std::nullopt, readable(without_brackets(title.substr(open)))};
  }
  for (const std::string_view mark : {"/", " in ", "_"}) {
    const std::size_t at = title.rfind(mark);
    if (at == std::string_view::npos) continue;
    if (auto parts = split_title(title.substr(0, at), title.substr(at + mark.size()))) return *parts;
  }
  return {readable(title), std::nullopt, std::nullopt};
}

std::string plain_words(std::string_view text) {
  text = without_blanks(text);
  for (const std::string_view brackets : {"()", "[]"}) {
    const std::size_t open = text.rfind(brackets[0]);
    if (text.ends_with(brackets[1]) && open != std::string_view::npos) text = text.substr(0, open);
  }
  std::string words;
  char before = ' ';
  for (const char c : text.substr(0, 200)) {
    const bool part_of_word = is_upper(c) || is_lower(c) || is_digit(c);
    const bool starts_word = !part_of_word || (is_upper(c) && is_lower(before));
    if (starts_word && !words.empty() && words.back() != ' ') words += ' ';
    if (part_of_word) words += c;
    before = c;
  }
  if (words.ends_with(' ')) words.pop_back();
  return lower_case(words);
}

std::string readable(std::string_view text, std::size_t limit) {
  std::string clean = is_utf8(text) ? std::string(text) : from_latin1(text);
  if (clean.size() > limit) {
    std::size_t end = limit > 3 ? limit - 3 : 0;
    while (end > 0 && (static_cast<unsigned char>(clean[end]) & 0xC0U) == 0x80)
      --end;  // not inside a character
    clean.resize(end);
    clean += "...";
  }
  std::replace(clean.begin(), clean.end(), '\t', ' ');
  return printable(clean, clean.size());
}

}  // namespace firstedge
