#include "firstedge/io/text_roles.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {

std::vector<double> first_numbers(std::span<const std::string_view> rows_ahead, const TextRows& rows,
                                  std::size_t column, std::size_t most) {
  std::vector<double> values;
  for (const std::string_view line : rows_ahead) {
    if (values.size() == most) break;
    FieldCursor cursor(line, rows.dialect.delimiter);
    std::optional<Field> field = cursor.next();
    for (std::size_t i = 0; i < column && field; ++i) field = cursor.next();
    const auto value = field ? parse_number(field->text, rows.dialect.decimal) : std::nullopt;
    if (!value || !std::isfinite(*value)) break;
    values.push_back(*value);
  }
  return values;
}

std::string column_words(std::size_t column, const std::vector<ColumnTitle>& titles) {
  return column >= titles.size() || titles[column].name.empty()
             ? fmt::format("column {}", column + 1)
             : fmt::format("column {} '{}'", column + 1, titles[column].name);
}

namespace {

constexpr std::size_t rows_judged = 50;  // of the behaviour of a column

bool has_unit(const ColumnTitle* title, TextUnit::Kind kind) {
  return title != nullptr && title->unit && title->unit->kind == kind;
}

const ColumnTitle* title_of(const std::vector<ColumnTitle>& titles, std::size_t column) {
  return column < titles.size() ? &titles[column] : nullptr;
}

// Rising by steps that printing can have made of equal ones (none more than three times another), but for
// falls back to the start, where a new record begins.
bool rises_evenly(const std::vector<double>& values) {
  double least = INFINITY;
  double most = 0;
  for (std::size_t i = 1; i < values.size(); ++i) {
    const double step = values[i] - values[i - 1];
    if (step < 0 && i > 1 && std::abs(values[i] - values[0]) <= most) continue;
    if (!(step > 0)) return false;
    least = std::min(least, step);
    most = std::max(most, step);
  }
  return values.size() >= 2 && most <= 3 * least;
}

// The same for counts of samples; the first step decides, so that a missing count is found when it is read.
bool counts_samples(const std::vector<double>& values) {
  const bool whole =
      std::all_of(values.begin(), values.end(), [](double value) { return value == std::floor(value); });
  return whole && values.size() >= 2 && values[1] - values[0] == 1;
}

bool counts_records(const std::vector<double>& values) {
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (values[i] != std::floor(values[i]) || values[i] < 0) return false;
    if (i > 0 && (values[i] < values[i - 1] || values[i] > values[i - 1] + 1)) return false;
  }
  return !values.empty();
}

// Finds columns by the words in the Setup.
class ColumnFinder {
 public:
  ColumnFinder(const TextRows& rows, const std::vector<ColumnTitle>& titles, std::string place)
      : rows_(rows), titles_(titles), place_(std::move(place)) {}

  std::size_t find(const std::string& word, const std::string& setting) const {
    for (std::size_t i = 0; i < titles_.size(); ++i) {
      if (titles_[i].name == word) return i;
    }
    std::size_t number = 0;
    const auto [end, failure] = std::from_chars(word.data(), word.data() + word.size(), number);
    const bool is_number = failure == std::errc() && end == word.data() + word.size();
    const std::size_t count = std::max(rows_.number_columns.back() + 1, titles_.size());
    if (is_number && number >= 1 && number <= count) return number - 1;
    std::vector<std::string> names;
    for (const ColumnTitle& title : titles_) names.push_back(title.name);
    throw Error(place_, fmt::format("there is no column '{}'", word),
                fmt::format("correct input/{}: {}", setting,
                            names.empty() ? fmt::format("there are columns 1 to {}", count)
                                          : fmt::format("the columns are {}", fmt::join(names, ", "))));
  }

 private:
  const TextRows& rows_;
  const std::vector<ColumnTitle>& titles_;
  std::string place_;
};

bool contains(const std::vector<std::size_t>& columns, std::size_t column) {
  return std::find(columns.begin(), columns.end(), column) != columns.end();
}

// What is known of the columns while their roles are sought.
struct Table {
  const TextRows& rows;
  const std::vector<ColumnTitle>& titles;
  std::span<const std::string_view> rows_ahead;

  std::vector<double> numbers(std::size_t column) const {
    return first_numbers(rows_ahead, rows, column, rows_judged);
  }
};

std::vector<std::size_t> columns_titled_time(const Table& table) {
  std::vector<std::size_t> columns;
  for (const std::size_t column : table.rows.number_columns) {
    const ColumnTitle* title = title_of(table.titles, column);
    if (title == nullptr) continue;
    if (has_unit(title, TextUnit::Kind::time) || (names_time(*title) && !title->unit))
      columns.push_back(column);
  }
  return columns;
}

// Of several columns with a unit of time, those that rise evenly; the first if none does, so that the trouble
// with it is told where it stands.
std::vector<std::size_t> rising_of(const std::vector<std::size_t>& columns, const Table& table) {
  if (columns.size() < 2) return columns;
  std::vector<std::size_t> rising;
  for (const std::size_t column : columns) {
    if (rises_evenly(table.numbers(column))) rising.push_back(column);
  }
  if (rising.empty()) rising.push_back(columns.front());
  return rising;
}

std::optional<std::size_t> column_of_indices(const Table& table) {
  for (const std::size_t column : table.rows.number_columns) {
    const ColumnTitle* title = title_of(table.titles, column);
    if (title == nullptr || !names_index(*title)) continue;
    const auto values = table.numbers(column);
    if (counts_samples(values) || values.size() == 1) return column;
  }
  return std::nullopt;
}

std::optional<std::size_t> column_of_records(const Table& table) {
  for (const std::size_t column : table.rows.number_columns) {
    const ColumnTitle* title = title_of(table.titles, column);
    if (title != nullptr && names_record(*title) && counts_records(table.numbers(column))) return column;
  }
  return std::nullopt;
}

// Makes a first column without a telling title the time, or the count of samples, if it behaves so.
void judge_first_column(ColumnRoles& roles, const Table& table, std::optional<double> stated_interval_s) {
  const std::size_t first = table.rows.number_columns.front();
  const ColumnTitle* title = title_of(table.titles, first);
  if (table.rows.number_columns.size() < 2 || roles.record == first) return;
  if (title != nullptr && title->unit) return;  // of another kind than time
  const auto values = table.numbers(first);
  if (values.size() < 2 || !rises_evenly(values)) return;
  const double step = (values.back() - values.front()) / static_cast<double>(values.size() - 1);
  const bool is_stated_step = stated_interval_s && std::abs(step - *stated_interval_s) < 0.01 * step;
  // A few voltages may rise by chance.
  const bool is_doubtful = stated_interval_s && !is_stated_step && values.size() < 16;
  if (stated_interval_s && !is_stated_step && counts_samples(values)) {
    roles.index = first;
  } else if (!is_doubtful) {
    roles.times.push_back(first);
  }
}

}  // namespace

ColumnRoles find_roles(const TextRows& rows, const std::vector<ColumnTitle>& titles,
                       std::span<const std::string_view> rows_ahead, const TextOptions& options,
                       std::optional<double> stated_interval_s, const std::string& place) {
  const ColumnFinder finder(rows, titles, place);
  const Table table{rows, titles, rows_ahead};
  ColumnRoles roles;
  for (const std::string& word : options.voltage_columns) {
    roles.voltages.push_back(finder.find(word, "voltage_columns"));
  }
  if (!options.record_column) {
    roles.record = column_of_records(table);
  } else if (*options.record_column != "none") {
    roles.record = finder.find(*options.record_column, "record_column");
  }
  std::vector<std::size_t> not_voltages = columns_titled_time(table);
  roles.times = rising_of(not_voltages, table);
  roles.index = column_of_indices(table);
  if (options.time_column) {
    roles.times.clear();
    if (*options.time_column != "none") roles.times = {finder.find(*options.time_column, "time_column")};
  } else if (roles.times.empty() && !roles.index) {
    judge_first_column(roles, table, stated_interval_s);
  }
  // What is named as a voltage is one, whatever it looks like.
  std::erase_if(roles.times, [&](std::size_t column) { return contains(roles.voltages, column); });
  if (roles.index && contains(roles.voltages, *roles.index)) roles.index.reset();
  if (roles.record && contains(roles.voltages, *roles.record)) roles.record.reset();
  if (!roles.voltages.empty()) return roles;

  not_voltages.insert(not_voltages.end(), roles.times.begin(), roles.times.end());
  if (roles.index) not_voltages.push_back(*roles.index);
  if (roles.record) not_voltages.push_back(*roles.record);
  for (const std::size_t column : rows.number_columns) {
    const bool is_frequency = has_unit(title_of(titles, column), TextUnit::Kind::frequency);
    if (!contains(not_voltages, column) && !is_frequency) roles.voltages.push_back(column);
  }
  if (roles.voltages.empty()) {
    throw Error(place, "no column is left for a voltage", "name one in input/voltage_columns");
  }
  return roles;
}

}  // namespace firstedge
