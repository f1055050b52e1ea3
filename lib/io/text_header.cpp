#include "firstedge/io/text_header.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <initializer_list>
#include <sstream>

#include <fmt/format.h>

namespace firstedge {
namespace {

struct Entry {
  std::string_view key, value, unit;
};

// A key starts with a letter: the ':' in a date or a time of day makes none.
bool is_key(std::string_view text) {
  return !text.empty() && ((text[0] >= 'A' && text[0] <= 'Z') || (text[0] >= 'a' && text[0] <= 'z'));
}

// Position of the '=' or ':' behind a key.
std::size_t assignment_in(std::string_view text) {
  return is_key(text) ? text.find_first_of("=:") : std::string_view::npos;
}

// The fields of a line, those with several settings ("a=1, b=2; c=3") taken apart.
std::vector<std::string_view> pieces_of(std::string_view line, char delimiter) {
  std::vector<std::string_view> pieces;
  FieldCursor cursor(line, delimiter == ' ' ? ';' : delimiter);
  while (const auto field = cursor.next()) {
    std::string_view rest = field->text;
    for (std::size_t at = 0; at != std::string_view::npos;) {
      at = std::min(rest.find(';'), rest.find(", "));
      pieces.push_back(without_blanks(rest.substr(0, at)));
      if (at != std::string_view::npos) rest.remove_prefix(at + 1);
    }
  }
  return pieces;
}

// "Sample interval 1 ns": the key ends where the first number starts.
std::optional<Entry> entry_in_words(std::string_view text) {
  for (std::size_t at = text.find(' '); at != std::string_view::npos; at = text.find(' ', at + 1)) {
    const std::string_view rest = without_blanks(text.substr(at));
    if (leading_number(rest, '.').length > 0 && is_key(text)) {
      return Entry{without_blanks(text.substr(0, at)), rest, {}};
    }
  }
  return std::nullopt;
}

std::vector<Entry> entries_of(std::string_view line, char delimiter) {
  const std::vector<std::string_view> fields = pieces_of(line, delimiter);
  const auto field = [&](std::size_t i) { return i < fields.size() ? fields[i] : std::string_view{}; };
  std::vector<Entry> entries;
  for (std::size_t i = 0; i < fields.size(); ++i) {
    const std::size_t at = assignment_in(fields[i]);
    if (at == std::string_view::npos) continue;
    const std::string_view value = without_blanks(fields[i].substr(at + 1));
    const std::string_view key = without_blanks(fields[i].substr(0, at));
    entries.push_back(value.empty() ? Entry{key, field(i + 1), field(i + 2)}
                                    : Entry{key, value, field(i + 1)});
  }
  if (!entries.empty()) return entries;
  for (std::size_t i = 0; i + 1 < fields.size(); ++i) {
    if (is_key(fields[i])) entries.push_back({fields[i], fields[i + 1], field(i + 2)});
  }
  for (const std::string_view one : fields) {
    if (const auto entry = entry_in_words(one)) entries.push_back(*entry);
  }
  return entries;
}

// True if every word is among `allowed` and at least one among `needed`.
bool made_of(const std::string& words, std::initializer_list<std::string_view> needed,
             std::initializer_list<std::string_view> allowed) {
  const auto among = [](const std::string& word, std::initializer_list<std::string_view> list) {
    return std::find(list.begin(), list.end(), word) != list.end();
  };
  bool has_needed = false;
  std::istringstream stream(words);
  for (std::string word; stream >> word;) {
    if (among(word, needed)) {
      has_needed = true;
    } else if (!among(word, allowed)) {
      return false;
    }
  }
  return has_needed;
}

bool is_interval_key(const std::string& words) {
  if (made_of(words, {"interval", "increment", "incr", "spacing", "dt", "dx"},
              {"time", "t", "x", "sample", "sampling", "samples", "horizontal", "point", "delta", "of", "the",
               "between"})) {
    return true;
  }
  for (const std::string_view phrase : {"delta t", "delta x", "time step", "timestep", "step time", "x step",
                                        "sample period", "sampling period", "sample time", "sampling time",
                                        "time per sample", "time per point", "seconds per sample"}) {
    if (words == phrase) return true;
  }
  return false;
}

bool is_rate_key(const std::string& words) {
  return made_of(words, {"rate", "frequency", "samplerate"},
                 {"sample", "sampling", "samples", "horizontal"}) &&
         words.find("sampl") != std::string::npos;
}

bool is_start_key(const std::string& words) {
  return made_of(words, {"start", "first", "origin", "x0", "t0"},
                 {"time", "t", "x", "horizontal", "sample", "point", "of", "the", "at", "record"}) &&
         words != "first" && words != "first point";
}

bool is_length_key(const std::string& words) {
  return made_of(words, {"samples", "points", "length"},
                 {"number", "of", "record", "count", "trace", "n", "no", "per", "sample"}) &&
         words != "length";
}

struct Quantity {
  double value = 0;
  std::optional<TextUnit> unit;
};

std::optional<Quantity> quantity_in(const Entry& entry, char decimal) {
  LeadingNumber number = leading_number(entry.value, decimal);
  if (decimal != '.' && (number.length == 0 || entry.value.substr(number.length).starts_with('.'))) {
    number = leading_number(entry.value, '.');
  }
  if (number.length == 0 || !number.in_range || !std::isfinite(number.value)) return std::nullopt;
  const std::string_view behind = without_blanks(entry.value.substr(number.length));
  if (!behind.empty()) {
    auto unit = parse_unit(behind);
    if (!unit) return std::nullopt;
    return Quantity{number.value, std::move(unit)};
  }
  if (auto unit = parse_unit(entry.unit)) return Quantity{number.value, std::move(unit)};
  return Quantity{number.value, parse_column_title(entry.key).unit};
}

// The quantity in SI, if its unit is of that kind or it has none.
std::optional<double> si_value(const Entry& entry, char decimal, TextUnit::Kind kind) {
  const auto quantity = quantity_in(entry, decimal);
  if (!quantity || (quantity->unit && quantity->unit->kind != kind)) return std::nullopt;
  return scaled(quantity->value, quantity->unit ? quantity->unit->factor : 1);
}

std::optional<Instant> instant_in(std::string_view value, TimeScale scale) {
  std::string text(value);
  if (text.size() > 10 && text[10] == ' ') text[10] = 'T';
  try {
    return parse_instant(text, scale, "header");
  } catch (const Error&) {
    return std::nullopt;
  }
}

template <typename Value>
void keep_first(std::optional<HeaderFact<Value>>& fact, std::optional<Value> value, const std::string& from) {
  if (!fact && value) fact = HeaderFact<Value>{*std::move(value), from};
}

std::optional<TextUnit> unit_of_kind(std::string_view text, TextUnit::Kind kind) {
  auto unit = parse_unit(text);
  const bool counts = unit && kind == TextUnit::Kind::voltage && unit->kind == TextUnit::Kind::count;
  return unit && (unit->kind == kind || counts) ? unit : std::nullopt;
}

// One entry's share of the facts.
void add_entry(HeaderFacts& facts, const Entry& entry, char decimal, TimeScale scale,
               const std::string& from) {
  const std::string words = plain_words(entry.key);
  if (is_interval_key(words) || is_rate_key(words)) {
    auto interval = si_value(entry, decimal, TextUnit::Kind::time);
    if (is_rate_key(words)) {
      interval = si_value(entry, decimal, TextUnit::Kind::frequency);
      if (interval) interval = 1 / *interval;
    }
    if (interval && *interval > 0 && std::isfinite(*interval)) keep_first(facts.interval_s, interval, from);
  } else if (is_start_key(words)) {
    keep_first(facts.first_sample_s, si_value(entry, decimal, TextUnit::Kind::time), from);
  } else if (is_length_key(words)) {
    const auto number = parse_number(entry.value, decimal);
    if (number && *number >= 1 && *number < 1e15 && *number == std::floor(*number)) {
      keep_first(facts.samples, std::optional(static_cast<std::uint64_t>(*number)), from);
    }
  } else if (words == "time unit" || words == "time units" || words == "horizontal unit" ||
             words == "horizontal units" || words == "x unit" || words == "x units") {
    keep_first(facts.time_unit, unit_of_kind(entry.value, TextUnit::Kind::time), from);
  } else if (words == "voltage unit" || words == "voltage units" || words == "vertical unit" ||
             words == "vertical units" || words == "y unit" || words == "y units") {
    keep_first(facts.voltage_unit, unit_of_kind(entry.value, TextUnit::Kind::voltage), from);
  } else if (words == "volts per count" || words == "v per count" || words == "volt per count") {
    const auto scale_v = si_value(entry, decimal, TextUnit::Kind::voltage);
    if (scale_v && *scale_v != 0) keep_first(facts.volts_per_count, scale_v, from);
  } else if (words == "trigger time" || words == "trigger instant" || words == "triggered at") {
    keep_first(facts.trigger, instant_in(entry.value, scale), from);
  }
}

// "Units, s, mV, mV": the unit of time, and that of the voltages if they share one.
void add_row_of_units(HeaderFacts& facts, std::span<const std::string_view> pieces, const std::string& from) {
  if (pieces.size() < 2 || !is_key(pieces[0])) return;
  if (const std::string key = plain_words(pieces[0]); key != "unit" && key != "units") return;
  std::vector<TextUnit> voltages;
  for (const std::string_view piece : pieces.subspan(1)) {
    keep_first(facts.time_unit, unit_of_kind(piece, TextUnit::Kind::time), from);
    if (auto unit = unit_of_kind(piece, TextUnit::Kind::voltage)) voltages.push_back(*std::move(unit));
  }
  const auto is_first = [&](const TextUnit& unit) {
    return unit.kind == voltages[0].kind && unit.factor == voltages[0].factor;
  };
  if (!voltages.empty() && std::all_of(voltages.begin(), voltages.end(), is_first))
    keep_first(facts.voltage_unit, std::optional(voltages[0]), from);
}

template <typename Fact>
void fill_in(Fact& fact, const Fact& other) {
  if (!fact) fact = other;
}

}  // namespace

HeaderFacts HeaderFacts::over(const HeaderFacts& others) const {
  HeaderFacts merged = *this;
  fill_in(merged.interval_s, others.interval_s);
  fill_in(merged.first_sample_s, others.first_sample_s);
  fill_in(merged.samples, others.samples);
  fill_in(merged.time_unit, others.time_unit);
  fill_in(merged.voltage_unit, others.voltage_unit);
  fill_in(merged.volts_per_count, others.volts_per_count);
  fill_in(merged.trigger, others.trigger);
  return merged;
}

HeaderFacts facts_of(std::span<const HeaderLine> lines, TextDialect dialect, TimeScale trigger_scale) {
  HeaderFacts facts;
  for (const HeaderLine& line : lines) {
    if (line.text.size() > 4096) continue;  // no settings of people or instruments are that long
    const std::string_view text = without_comment_mark(line.text);
    const std::string from = fmt::format("line {} ('{}')", line.line, readable(text, 80));
    std::vector<Entry> entries = entries_of(text, dialect.delimiter);
    if (dialect.delimiter == dialect.decimal) {  // numbers are quoted, but settings in the header may not be
      const std::vector<Entry> whole = entries_of(text, ';');
      entries.insert(entries.begin(), whole.begin(), whole.end());
    }
    add_row_of_units(facts, pieces_of(text, dialect.delimiter), from);
    for (const Entry& entry : entries) add_entry(facts, entry, dialect.decimal, trigger_scale, from);
  }
  return facts;
}

std::string_view without_comment_mark(std::string_view line) {
  line = without_blanks(line);
  if (line.starts_with("//")) line.remove_prefix(2);
  while (!line.empty() && (line.front() == '#' || line.front() == '%' || line.front() == '!')) {
    line.remove_prefix(1);
  }
  return without_blanks(line);
}

bool is_comment(std::string_view line) {
  line = without_blanks(line);
  return line.starts_with('#') || line.starts_with('%') || line.starts_with('!') || line.starts_with("//");
}

std::string header_key(std::string_view line, char delimiter) {
  line = without_comment_mark(line);
  const char marks[] = {':', '=', delimiter == ' ' ? '\t' : delimiter};
  line = line.substr(0, line.find_first_of(std::string_view(marks, sizeof marks)));
  std::string all, letters;
  for (const char c : without_blanks(line).substr(0, 200)) {
    const bool is_capital = c >= 'A' && c <= 'Z';
    all += is_capital ? static_cast<char>(c - 'A' + 'a') : c;
    if (is_capital || (c >= 'a' && c <= 'z')) letters += all.back();
  }
  return letters.size() >= 3 ? letters : letters.empty() ? "" : all;
}

}  // namespace firstedge
