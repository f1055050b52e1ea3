#include "firstedge/io/text_options.hpp"

#include <cmath>
#include <map>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Names of columns, or their numbers, which are kept as text.
std::vector<std::string> columns_named(const Settings& input, const std::string& name) {
  const auto as_text = [](double number) { return fmt::format("{:.0f}", number); };
  const auto value = input.values().find(name);
  if (value != input.values().end()) {
    const auto* list = std::get_if<Settings::List>(&value->second.is);
    const auto& first = list != nullptr && !list->empty() ? list->front().is : value->second.is;
    if (std::holds_alternative<double>(first)) {
      std::vector<std::string> texts;
      for (const double number : input.quantities(name, "")) {
        if (number < 1 || number > 1e6 || number != std::floor(number)) {
          input.refuse(name, fmt::format("holds {}", number), "number columns 1, 2, 3 ... from the left");
        }
        texts.push_back(as_text(number));
      }
      return texts;
    }
  }
  return input.texts(name);
}

std::optional<std::string> column_named(const Settings& input, const std::string& name) {
  const std::vector<std::string> names = columns_named(input, name);
  if (names.size() > 1) input.refuse(name, "names several columns", "name one column");
  return names.empty() ? std::nullopt : std::optional(names.front());
}

std::optional<char> sign_of(const Settings& input, const std::string& name,
                            const std::map<std::string, char>& words, bool any_character) {
  if (!input.has(name)) return std::nullopt;
  const std::string text = input.text(name, "");
  if (const auto word = words.find(text); word != words.end()) return word->second;
  const bool usable = text.size() == 1 && text[0] > ' ' && text[0] < 0x7f && text[0] != '"' &&
                      std::string("0123456789.+-eE").find(text[0]) == std::string::npos;
  if (any_character && usable) return text[0];
  std::string known;
  for (const auto& [word, sign] : words) known += (known.empty() ? "\"" : ", \"") + word + "\"";
  input.refuse(name, fmt::format("is '{}'", text), fmt::format("choose one of {}", known));
}

std::optional<std::size_t> whole_number(const Settings& input, const std::string& name, double least) {
  if (!input.has(name)) return std::nullopt;
  const double number = input.number(name, 0);
  if (number < least || number > 1e9 || number != std::floor(number)) {
    input.refuse(name, fmt::format("is {}", number), fmt::format("give a whole number from {} on", least));
  }
  return static_cast<std::size_t>(number);
}

TextUnit unit_named(const Settings& input, const std::string& name, const std::string& text,
                    TextUnit::Kind kind) {
  const auto unit = parse_unit(text);
  const bool counts = kind == TextUnit::Kind::voltage && unit && unit->kind == TextUnit::Kind::count;
  if (unit && (unit->kind == kind || counts)) return *unit;
  input.refuse(name, fmt::format("is '{}'", text),
               kind == TextUnit::Kind::time ? "give s, ms, us, ns or ps" : "give V, mV, uV or counts");
}

void read_separators(const Settings& input, TextOptions& options) {
  if (!input.has("record_separators")) return;
  options.separators_given = true;
  options.blank_line_separates = options.header_separates = options.time_separates = false;
  for (const std::string& word : input.texts("record_separators")) {
    if (word == "blank line") {
      options.blank_line_separates = true;
    } else if (word == "header") {
      options.header_separates = true;
    } else if (word == "time") {
      options.time_separates = true;
    } else if (word != "none") {
      input.refuse("record_separators", fmt::format("holds '{}'", word),
                   "choose among \"blank line\", \"header\" and \"time\", or give \"none\"");
    }
  }
}

void read_axis(const Settings& input, TextOptions& options) {
  options.interval_s = input.quantity("interval", "s");
  options.first_sample_s = input.quantity("first_sample", "s");
  if (options.interval_s && !(*options.interval_s > 0)) {
    input.refuse("interval", "is not above zero", "give the time from sample to sample, like \"0.2 ns\"");
  }
  const std::string time_unit = input.text("time_unit", "");
  if (!time_unit.empty()) {
    options.time_unit = unit_named(input, "time_unit", time_unit, TextUnit::Kind::time);
  }
  options.time_scale = *time_scale_named(input.choice("time_scale", "UTC", {"UTC", "TAI", "GPS"}));
}

void read_scale(const Settings& input, TextOptions& options) {
  for (const std::string& text : input.texts("voltage_unit")) {
    options.voltage_units.push_back(unit_named(input, "voltage_unit", text, TextUnit::Kind::voltage));
  }
  options.volts_per_count = input.quantity("volts_per_count", "V");
  if (options.volts_per_count && *options.volts_per_count == 0) {
    input.refuse("volts_per_count", "is zero", "give the voltage that one count is worth, like \"0.5 mV\"");
  }
  options.offset_v = input.quantity("offset", "V", 0);
  options.lowest_count = input.number("lowest_count", options.lowest_count);
  options.highest_count = input.number("highest_count", options.highest_count);
  if (!(options.lowest_count < options.highest_count)) {
    input.refuse("lowest_count", "is not below highest_count", "give the digitizer's limits in rising order");
  }
}

}  // namespace

TextOptions text_options(const Settings& input) {
  TextOptions options;
  input.text("format", "text");  // the registry's word
  options.delimiter = sign_of(
      input, "delimiter",
      {{"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}, {"\t", '\t'}, {"space", ' '}, {" ", ' '}}, true);
  options.decimal =
      sign_of(input, "decimal", {{"point", '.'}, {"comma", ','}, {".", '.'}, {",", ','}}, false);
  options.header_lines = whole_number(input, "header_lines", 0);
  options.column_names = input.texts("column_names");
  options.time_column = column_named(input, "time_column");
  options.voltage_columns = columns_named(input, "voltage_columns");
  options.record_column = column_named(input, "record_column");
  options.channels = input.texts("channels");
  options.record_length = whole_number(input, "record_length", 1).value_or(0);
  options.pattern = input.text("pattern", "");
  read_axis(input, options);
  read_scale(input, options);
  read_separators(input, options);
  input.finish();
  return options;
}

}  // namespace firstedge
