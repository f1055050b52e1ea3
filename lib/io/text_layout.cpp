#include "firstedge/io/text_layout.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/text_layout_again.hpp"
#include "firstedge/io/text_roles.hpp"
#include "firstedge/io/text_titles.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

constexpr std::size_t first_look_bytes = std::size_t{1} << 16U;
constexpr std::size_t last_look_bytes = std::size_t{1} << 20U;
constexpr std::size_t settings_rows = 200;   // searched for settings beside the numbers,
constexpr std::size_t rows_without = 20;     // unless so many come without any
constexpr std::size_t metadata_lines = 500;  // kept; the rest is counted

std::string name_of(char sign) {
  switch (sign) {
    case ',':
      return "a comma";
    case ';':
      return "a semicolon";
    case '\t':
      return "a tab";
    case ' ':
      return "blanks";
    case '.':
      return "a point";
    default:
      return fmt::format("'{}'", sign);
  }
}

// Builds a layout step by step; each step is a member function that states its guesses.
class LayoutFinder {
 public:
  LayoutFinder(TextSource& source, const TextOptions& options) : source_(source), options_(options) {}

  TextLayout find(std::optional<TextDialect> hint) {
    find_rows_of_file(hint);
    find_first_row();
    keep_header();
    find_columns();
    take_back_damaged_rows();
    set_units();
    set_axis();
    name_channels();
    keep_metadata();
    layout_.telling_header =
        telling_header({lines_, layout_.header_lines, layout_.columns, rows_, titles_, roles_}, options_);
    return std::move(layout_);
  }

 private:
  std::span<const std::string_view> lines_below_header() const {
    return std::span(lines_).subspan(std::min(options_.header_lines.value_or(0), lines_.size()));
  }
  std::span<const std::string_view> from_first_row() const {
    return std::span(lines_).subspan(layout_.header_lines);
  }
  const ColumnTitle* title(std::size_t column) const {
    return column < titles_.size() ? &titles_[column] : nullptr;
  }
  std::optional<double> stated_interval() const {
    const auto& stated = layout_.facts.interval_s;
    return options_.interval_s || !stated ? options_.interval_s : std::optional(stated->value);
  }
  void guess(const std::string& sentence, const std::string& setting) {
    layout_.guesses.push_back(fmt::format("{} (input/{} overrides this)", sentence, setting));
  }

  void find_rows_of_file(std::optional<TextDialect> hint);
  void find_first_row();
  void keep_header();
  void keep_settings_beside();
  void find_columns();
  void take_back_damaged_rows();
  void set_units();
  TimeColumn time_column(std::size_t column);
  VoltageColumn voltage_column(std::size_t column, std::size_t position);
  void set_scale(VoltageColumn& voltage, std::size_t position);
  void set_axis();
  void name_channels();
  void keep_metadata();

  TextSource& source_;
  const TextOptions& options_;
  std::vector<std::string_view> lines_;
  std::vector<HeaderLine> header_;
  std::vector<HeaderLine> beside_;  // settings that stand beside the first rows
  TextRows rows_;
  ColumnRoles roles_;
  std::vector<ColumnTitle> titles_;
  TextLayout layout_;
};

void LayoutFinder::find_rows_of_file(std::optional<TextDialect> hint) {
  std::optional<TextRows> rows;
  if (hint) {
    lines_ = source_.lines_ahead(short_look_bytes);
    rows = rows_in_dialect(lines_below_header(), *hint);
  }
  for (const std::size_t look : {first_look_bytes, last_look_bytes}) {
    if (rows) break;
    lines_ = source_.lines_ahead(look);
    rows = find_rows(lines_below_header(), options_.delimiter, options_.decimal, source_.name());
    if (source_.size_bytes() <= look) break;
  }
  if (!rows && options_.header_lines.value_or(0) > 0 && *options_.header_lines >= lines_.size()) {
    throw Error(source_.name(),
                fmt::format("input/header_lines is {}, but only {} lines stand at the start of the file",
                            *options_.header_lines, lines_.size()),
                "correct it");
  }
  if (!rows) {
    if (lines_.empty() && source_.size_bytes() > 0) source_.next_line();  // tells a line that is too long
    throw Error(source_.name(), source_.size_bytes() == 0 ? "is empty" : "there is no row of numbers",
                "give text with one sample a line (input/delimiter, input/decimal and input/header_lines "
                "override what is guessed)");
  }
  rows_ = *std::move(rows);
  layout_.dialect = rows_.dialect;
  if (!options_.delimiter && rows_.number_columns.size() > 1) {
    guess(fmt::format("the fields are taken to be separated by {}", name_of(rows_.dialect.delimiter)),
          "delimiter");
  }
  if (!options_.decimal) {
    guess(fmt::format("the decimal sign is taken to be {}", name_of(rows_.dialect.decimal)), "decimal");
  }
}

void LayoutFinder::find_first_row() {
  if (options_.header_lines) {
    layout_.header_lines = *options_.header_lines;
    return;
  }
  layout_.header_lines = first_row(lines_, rows_);
}

void LayoutFinder::keep_header() {
  for (std::size_t i = 0; i < layout_.header_lines; ++i) {
    if (is_blank_line(lines_[i], rows_.dialect.delimiter)) continue;
    header_.push_back({i + 1, std::string(lines_[i])});
    const std::string key = header_key(lines_[i], rows_.dialect.delimiter);
    if (!key.empty()) layout_.header_keys.insert(key);
  }
  layout_.double_spaced = is_double_spaced(from_first_row(), rows_);
  keep_settings_beside();
  layout_.facts = facts_of(header_, rows_.dialect, options_.time_scale)
                      .over(facts_of(beside_, rows_.dialect, options_.time_scale));
}

// Texts in columns without numbers, in the first rows only, are settings; in all rows they are labels.
void LayoutFinder::keep_settings_beside() {
  layout_.columns = rows_.number_columns.back() + 1;
  const auto is_number_column = [&](std::size_t column) {
    return std::binary_search(rows_.number_columns.begin(), rows_.number_columns.end(), column);
  };
  std::size_t rows = 0;
  std::size_t last_with = 0;
  for (std::size_t i = 0; i < from_first_row().size() && rows < settings_rows; ++i) {
    if (rows - last_with >= rows_without) break;
    const std::string_view line = from_first_row()[i];
    if (!is_row(line, rows_)) continue;
    ++rows;
    std::string text;
    FieldCursor cursor(line, rows_.dialect.delimiter);
    std::size_t column = 0;
    for (auto field = cursor.next(); field; field = cursor.next(), ++column) {
      if (is_number_column(column) || field->text.empty()) continue;
      const bool is_text = kind_of_field(field->text, rows_.dialect.decimal) == FieldKind::text;
      if (text.empty() && !is_text) continue;  // a number too many is damage, not a setting
      if (!text.empty()) text += rows_.dialect.delimiter;
      text += field->text;
      layout_.columns = std::max(layout_.columns, column + 1);
    }
    if (text.empty()) continue;
    beside_.push_back({layout_.header_lines + i + 1, text});
    last_with = rows;
  }
  if (beside_.empty()) return;
  if (beside_.size() == rows && rows > 20) {
    beside_.clear();
    layout_.guesses.emplace_back(
        "texts that stand in every row are left out (input/voltage_columns names what "
        "is read)");
  } else {
    layout_.guesses.push_back(
        fmt::format("texts beside the numbers in {} of the first rows are taken for settings "
                    "(input/voltage_columns names "
                    "what is read)",
                    beside_.size()));
  }
}

void LayoutFinder::find_columns() {
  if (!options_.column_names.empty()) {
    for (const std::string& name : options_.column_names) titles_.push_back(parse_column_title(name));
  } else if (const auto found = find_titles(header_, rows_)) {
    titles_ = found->columns;
    layout_.title_line = found->line.text;
    guess(fmt::format("the names of the columns are taken from line {}", found->line.line), "column_names");
  }
  roles_ = find_roles(rows_, titles_, from_first_row(), options_, stated_interval(), source_.name());
  layout_.index_column = roles_.index;
  layout_.record_column = roles_.record;
  std::vector<std::string> times, voltages;
  for (const std::size_t column : roles_.times) times.push_back(column_words(column, titles_));
  for (const std::size_t column : roles_.voltages) voltages.push_back(column_words(column, titles_));
  if (!options_.time_column && !times.empty()) {
    guess(fmt::format("{} is taken for the time", fmt::join(times, ", ")), "time_column");
  }
  if (roles_.index) {
    guess(fmt::format("{} is taken to count the samples", column_words(*roles_.index, titles_)),
          "time_column");
  }
  if (!options_.record_column && roles_.record) {
    guess(fmt::format("{} is taken to count the records", column_words(*roles_.record, titles_)),
          "record_column");
  }
  if (options_.voltage_columns.empty()) {
    guess(fmt::format("{} taken for voltages", fmt::join(voltages, ", ")), "voltage_columns");
  }
}

// A line right above the first row whose time fits there, but whose voltage is no number, is a damaged row
// and no header.
void LayoutFinder::take_back_damaged_rows() {
  const auto times = roles_.times.empty() || options_.header_lines
                         ? std::vector<double>{}
                         : first_numbers(from_first_row(), rows_, roles_.times.front(), 2);
  for (double next = times.empty() ? 0 : times[0]; times.size() == 2 && layout_.header_lines > 0;) {
    const auto above = std::span<const std::string_view>(lines_).subspan(layout_.header_lines - 1, 1);
    const auto time = first_numbers(above, rows_, roles_.times.front(), 1);
    const double step = times[1] - times[0];
    if (time.empty() || !(std::abs(next - step - time[0]) < 0.5 * step)) break;
    next = time[0];
    header_.pop_back();
    --layout_.header_lines;
  }
  if (!options_.header_lines && layout_.header_lines > 0) {
    guess(layout_.header_lines == 1
              ? std::string("the first line is taken for the header")
              : fmt::format("the first {} lines are taken for the header", layout_.header_lines),
          "header_lines");
  }
}

TimeColumn LayoutFinder::time_column(std::size_t column) {
  const ColumnTitle* named = title(column);
  const bool has_unit = named != nullptr && named->unit && named->unit->kind == TextUnit::Kind::time;
  if (options_.time_unit) return {column, options_.time_unit->factor};
  if (has_unit) return {column, named->unit->factor};
  if (const auto& stated = layout_.facts.time_unit) {
    guess(fmt::format("the unit of the time is taken from {}", stated->from), "time_unit");
    return {column, stated->value.factor};
  }
  // The unit that makes the steps the stated interval, if there is one.
  const auto times = first_numbers(from_first_row(), rows_, column, 50);
  const double step =
      times.size() < 2 ? 0 : (times.back() - times.front()) / static_cast<double>(times.size() - 1);
  std::string_view unit = "s";
  for (const std::string_view one : {"s", "ms", "us", "ns", "ps"}) {
    const double factor = parse_unit(one)->factor;
    if (stated_interval() && std::abs(step * factor - *stated_interval()) < 0.01 * *stated_interval())
      unit = one;
  }
  guess(fmt::format("no unit is given for {}: {} is taken", column_words(column, titles_), unit),
        "time_unit");
  return {column, parse_unit(unit)->factor};
}

VoltageColumn LayoutFinder::voltage_column(std::size_t column, std::size_t position) {
  VoltageColumn voltage;
  voltage.column = column;
  for (std::size_t i = 0; i < roles_.times.size(); ++i) {
    if (!voltage.time || roles_.times[i] < column) voltage.time = i;
  }
  set_scale(voltage, position);
  return voltage;
}

void LayoutFinder::set_scale(VoltageColumn& voltage, std::size_t position) {
  const ColumnTitle* named = title(voltage.column);
  const std::string words = column_words(voltage.column, titles_);
  std::optional<TextUnit> unit;
  if (!options_.voltage_units.empty()) {
    const auto& units = options_.voltage_units;
    if (units.size() != 1 && units.size() != roles_.voltages.size()) {
      throw Error(source_.name(),
                  fmt::format("there are {} voltage columns, but {} units in input/voltage_unit",
                              roles_.voltages.size(), units.size()),
                  "give one unit, or one a column");
    }
    unit = units.size() == 1 ? units[0] : units[position];
  } else if (named != nullptr && named->unit &&
             (named->unit->kind == TextUnit::Kind::voltage || named->unit->kind == TextUnit::Kind::count)) {
    unit = named->unit;
  } else if (named != nullptr && named->unknown_unit) {
    guess(fmt::format("the unit '{}' of {} is not known here: V is taken", *named->unknown_unit, words),
          "voltage_unit");
    unit = TextUnit{TextUnit::Kind::voltage, 1, "V"};
  } else if (const auto& stated = layout_.facts.voltage_unit) {
    guess(fmt::format("the unit of {} is taken from {}", words, stated->from), "voltage_unit");
    unit = stated->value;
  }
  const auto& stated_scale = layout_.facts.volts_per_count;
  voltage.whole_counts = unit ? unit->kind == TextUnit::Kind::count : options_.volts_per_count.has_value();
  if (options_.volts_per_count) {
    voltage.volts_per_count = *options_.volts_per_count;
  } else if (voltage.whole_counts && stated_scale) {
    voltage.volts_per_count = stated_scale->value;
    guess(fmt::format("the voltage of a count in {} is taken from {}", words, stated_scale->from),
          "volts_per_count");
  } else if (voltage.whole_counts) {
    guess(fmt::format("{} is in counts and nothing gives their voltage: 1 V is taken", words),
          "volts_per_count");
  } else if (unit) {
    voltage.volts_per_count = unit->factor;
  } else {
    guess(fmt::format("no unit is given for {}: V is taken", words), "voltage_unit");
  }
}

void LayoutFinder::set_units() {
  for (const std::size_t column : roles_.times) layout_.times.push_back(time_column(column));
  for (std::size_t i = 0; i < roles_.voltages.size(); ++i) {
    layout_.voltages.push_back(voltage_column(roles_.voltages[i], i));
  }
}

void LayoutFinder::set_axis() {
  if (!layout_.times.empty()) return;
  const HeaderFacts& facts = layout_.facts;
  if (!options_.interval_s && !facts.interval_s) {
    throw Error(source_.name(), "there is no column of times and nothing states the sample interval",
                "give input/interval, like \"0.2 ns\", or input/time_column");
  }
  if (!options_.interval_s) {
    guess(fmt::format("the sample interval is taken from {}", facts.interval_s->from), "interval");
  }
  if (options_.first_sample_s) return;
  if (facts.first_sample_s) {
    guess(fmt::format("the time of the first sample is taken from {}", facts.first_sample_s->from),
          "first_sample");
  } else {
    guess("nothing states the time of the first sample: 0 s is taken", "first_sample");
  }
}

void LayoutFinder::name_channels() {
  const bool from_options =
      !options_.channels.empty() && options_.pattern.find("{channel}") == std::string::npos;
  if (from_options && options_.channels.size() != layout_.voltages.size()) {
    throw Error(source_.name(),
                fmt::format("there are {} voltage columns, but {} names in input/channels",
                            layout_.voltages.size(), options_.channels.size()),
                "give one name a voltage column, or choose columns with input/voltage_columns");
  }
  std::set<std::string> taken;
  for (std::size_t i = 0; i < layout_.voltages.size(); ++i) {
    const ColumnTitle* named = title(layout_.voltages[i].column);
    std::string name = from_options                               ? options_.channels[i]
                       : named != nullptr && !named->name.empty() ? named->name
                                                                  : fmt::format("channel_{}", i + 1);
    if (!taken.insert(name).second) {
      name = fmt::format("{} (column {})", name, layout_.voltages[i].column + 1);
      taken.insert(name);
    }
    layout_.voltages[i].name = std::move(name);
  }
}

void LayoutFinder::keep_metadata() {
  std::vector<HeaderLine> all = header_;
  all.insert(all.end(), beside_.begin(), beside_.end());
  for (std::size_t i = 0; i < all.size() && i < metadata_lines; ++i) {
    layout_.metadata[fmt::format("line {:04}", all[i].line)] = readable(without_comment_mark(all[i].text));
  }
  if (all.size() > metadata_lines) {
    layout_.metadata["header lines not kept"] = fmt::format("{}", all.size() - metadata_lines);
  }
}

}  // namespace

TextLayout find_layout(TextSource& source, const TextOptions& options, std::optional<TextDialect> hint) {
  return LayoutFinder(source, options).find(hint);
}

}  // namespace firstedge
