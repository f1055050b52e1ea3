#include "firstedge/io/column_table.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/units.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/text_numbers.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";

char delimiter_of(std::string_view names) {
  char best = ',';
  for (const char candidate : {';', '\t'}) {
    if (std::count(names.begin(), names.end(), candidate) > std::count(names.begin(), names.end(), best))
      best = candidate;
  }
  return best;
}

std::vector<std::string> fields_of(std::string_view line, char delimiter) {
  std::vector<std::string> fields;
  FieldCursor cursor(line, delimiter);
  for (std::optional<Field> field = cursor.next(); field; field = cursor.next())
    fields.emplace_back(field->text);
  return fields;
}

// "difference (ns)" -> "difference", "ns".
std::pair<std::string, std::string> name_and_unit(const std::string& title) {
  const std::size_t open = title.find_first_of("([");
  if (open == std::string::npos) return {std::string(without_blanks(title)), ""};
  const std::size_t close = title.find_first_of(")]", open);
  const std::string unit =
      title.substr(open + 1, close == std::string::npos ? std::string::npos : close - open - 1);
  return {std::string(without_blanks(title.substr(0, open))), std::string(without_blanks(unit))};
}

}  // namespace

ColumnTable ColumnTable::read(const std::filesystem::path& file) {
  return parse(read_text_file(file, most_table_bytes), file.string());
}

ColumnTable ColumnTable::parse(std::string_view text, const std::string& place) {
  ColumnTable table;
  table.place_ = place;
  if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
  char delimiter = ',';
  std::size_t number = 0;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    std::string_view line = without_blanks(text.substr(0, end));
    text.remove_prefix(std::min(text.size(), end + 1));
    ++number;
    if (!line.empty() && line.back() == '\r') line = without_blanks(line.substr(0, line.size() - 1));
    if (line.empty() || line.front() == '#') continue;
    if (table.names_.empty()) {
      delimiter = delimiter_of(line);
      for (const std::string& title : fields_of(line, delimiter)) {
        auto [name, unit] = name_and_unit(title);
        const bool again = std::find(table.names_.begin(), table.names_.end(), name) != table.names_.end();
        if (name.empty() || again)
          throw Error(fmt::format("{}, line {}", place, number),
                      again ? fmt::format("has the name '{}' twice", name) : "has a column without a name",
                      "give each column a name of its own");
        table.names_.push_back(std::move(name));
        table.units_.push_back(std::move(unit));
      }
      continue;
    }
    std::vector<std::string> fields = fields_of(line, delimiter);
    if (fields.size() != table.names_.size())
      throw Error(fmt::format("{}, line {}", place, number),
                  fmt::format("has {} fields under {} names", fields.size(), table.names_.size()),
                  "write one value a column");
    table.fields_.push_back(std::move(fields));
    table.lines_.push_back(number);
  }
  if (table.names_.empty())
    throw Error(place, "has no row of names", "write the columns' names in its first line");
  return table;
}

std::optional<std::size_t> ColumnTable::column(const std::string& name) const {
  const auto found = std::find(names_.begin(), names_.end(), name);
  if (found == names_.end()) return std::nullopt;
  return static_cast<std::size_t>(found - names_.begin());
}

void ColumnTable::check_columns(const std::vector<std::string>& wanted,
                                const std::vector<std::string>& allowed) const {
  for (const std::string& name : wanted) {
    if (!has(name))
      throw Error(place_, fmt::format("has no column '{}'", name),
                  fmt::format("it has {}", fmt::join(names_, ", ")));
  }
  for (const std::string& name : names_) {
    const auto in = [&](const std::vector<std::string>& list) {
      return std::find(list.begin(), list.end(), name) != list.end();
    };
    if (!in(wanted) && !in(allowed))
      throw Error(place_, fmt::format("has a column '{}' that means nothing here", name),
                  fmt::format("there may be {} and {}", fmt::join(wanted, ", "), fmt::join(allowed, ", ")));
  }
}

std::string ColumnTable::text(std::size_t row, const std::string& name) const {
  const std::optional<std::size_t> at = column(name);
  return at ? fields_.at(row)[*at] : "";
}

std::optional<double> ColumnTable::quantity(std::size_t row, const std::string& name,
                                            std::string_view si_unit) const {
  const std::optional<std::size_t> at = column(name);
  if (!at || fields_.at(row)[*at].empty()) return std::nullopt;
  const std::string& field = fields_.at(row)[*at];
  const std::string& unit = units_[*at];
  // A bare number is in the unit of its column; a value with a unit of its own stands for itself.
  const std::optional<double> bare = parse_number(field, '.');
  std::optional<double> value = bare;
  if (bare && !unit.empty()) {
    const std::optional<double> factor = unit_factor(unit, si_unit);
    value = factor ? std::optional(*bare * *factor) : std::nullopt;
  } else if (!bare) {
    value = parse_quantity(field, si_unit);
  }
  if (!value || !std::isfinite(*value))
    throw Error(fmt::format("{}, column {}", place(row), name),
                fmt::format("'{}{}{}' is no quantity in {}", field, unit.empty() ? "" : " ", unit, si_unit),
                fmt::format("write a number, with a unit such as n{} where it is not {}", si_unit, si_unit));
  return value;
}

double ColumnTable::needed_quantity(std::size_t row, const std::string& name,
                                    std::string_view si_unit) const {
  const std::optional<double> value = quantity(row, name, si_unit);
  if (!value) throw Error(fmt::format("{}, column {}", place(row), name), "is empty", "write a value");
  return *value;
}

std::string ColumnTable::place(std::size_t row) const {
  return fmt::format("{}, line {}", place_, lines_.at(row));
}

}  // namespace firstedge
