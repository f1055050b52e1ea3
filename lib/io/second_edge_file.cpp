#include "firstedge/io/second_edge_file.hpp"

#include "firstedge/core/units.hpp"
#include "firstedge/io/text_numbers.hpp"
#include "firstedge/io/text_source.hpp"

#include <charconv>
#include <cmath>
#include <optional>
#include <set>
#include <system_error>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

enum class EdgeColumn : std::uint8_t { counter, second, correction };

std::optional<EdgeColumn> column_named(std::string_view name) {
  if (name == "counter") return EdgeColumn::counter;
  if (name == "second") return EdgeColumn::second;
  if (name == "correction") return EdgeColumn::correction;
  return std::nullopt;
}

// Whole ticks and a part: "-1.25" is -2 and 0.75.
std::optional<CounterReading> counter_of(std::string_view text) {
  const std::size_t point = text.find('.');
  const std::string_view whole = text.substr(0, point);
  CounterReading reading;
  const auto [end, fault] = std::from_chars(whole.data(), whole.data() + whole.size(), reading.ticks);
  if (fault != std::errc() || end != whole.data() + whole.size()) return std::nullopt;
  constexpr std::int64_t most_ticks = std::int64_t{1} << 62U;
  if (reading.ticks <= -most_ticks || reading.ticks >= most_ticks) return std::nullopt;
  if (point == std::string_view::npos) return reading;
  const std::string_view part = text.substr(point);
  if (part.size() < 2 || part.find_first_not_of("0123456789", 1) != std::string_view::npos)
    return std::nullopt;
  const auto fraction = parse_number(fmt::format("0{}", part), '.');
  if (!fraction || !(*fraction < 1)) return std::nullopt;
  reading.fraction = *fraction;
  if (whole.starts_with('-') && reading.fraction > 0) {
    reading.ticks -= 1;
    reading.fraction = 1 - reading.fraction;
  }
  return reading;
}

class EdgeReader {
 public:
  explicit EdgeReader(ByteSource bytes) : text_(std::move(bytes)) {}

  SecondEdgeFile read() {
    read_columns();
    while (const auto line = next()) add(*line);
    if (file_.edges.empty())
      throw Error(text_.name(), fmt::format("has no counter reading among {} lines", file_.bad),
                  "give one reading a line below the line of column names");
    return std::move(file_);
  }

 private:
  // The next line that is neither empty nor a remark.
  std::optional<std::string_view> next() {
    for (auto line = text_.next_line(); line; line = text_.next_line())
      if (!without_blanks(*line).empty() && !line->starts_with('#')) return line;
    return std::nullopt;
  }

  void read_columns() {
    const auto line = next();
    if (!line) throw Error(text_.name(), "is empty", "give a line of column names and one reading a line");
    FieldCursor fields(*line, ',');
    std::set<EdgeColumn> seen;
    while (const auto field = fields.next()) {
      const auto column = column_named(field->text);
      if (!column || !seen.insert(*column).second)
        throw Error(text_.place(), fmt::format("'{}' is no column name, or comes twice", field->text),
                    "name the columns counter, second, correction");
      columns_.push_back(*column);
    }
    if (!seen.contains(EdgeColumn::counter))
      throw Error(text_.place(), "names no column counter", "name the columns counter, second, correction");
  }

  void add(std::string_view line) {
    try {
      SecondEdge edge = edge_of(line);
      if (file_.edges.size() == most_edges)
        throw Error(text_.name(), fmt::format("has more than {} readings", most_edges), "cut it into parts");
      file_.edges.push_back(edge);
    } catch (const Error& problem) {
      if (problem.place() == text_.name()) throw;
      ++file_.bad;
      if (file_.problems.size() < SecondEdgeFile::most_told) file_.problems.push_back(problem);
    }
  }

  SecondEdge edge_of(std::string_view line) const {
    SecondEdge edge;
    FieldCursor fields(line, ',');
    for (const EdgeColumn column : columns_) {
      const auto field = fields.next();
      if (!field) throw Error(text_.place(), "has too few fields", "the line is left out");
      if (column == EdgeColumn::counter) edge.counter = counter_in(field->text);
      if (column == EdgeColumn::second && !field->text.empty())
        edge.label = parse_instant(field->text, TimeScale::utc, text_.place());
      if (column == EdgeColumn::correction && !field->text.empty())
        edge.correction_s = correction_in(field->text);
    }
    if (fields.next()) throw Error(text_.place(), "has too many fields", "the line is left out");
    return edge;
  }

  CounterReading counter_in(std::string_view field) const {
    const auto reading = counter_of(field);
    if (!reading)
      throw Error(text_.place(), fmt::format("'{}' is no counter reading", field), "the line is left out");
    return *reading;
  }

  double correction_in(std::string_view field) const {
    const auto value = parse_quantity(field, "s");
    constexpr double most_s = 1;
    if (!value || !(std::abs(*value) <= most_s))
      throw Error(text_.place(), fmt::format("'{}' is no correction within a second", field),
                  "the line is left out");
    return *value;
  }

  TextSource text_;
  std::vector<EdgeColumn> columns_;
  SecondEdgeFile file_;
};

}  // namespace

SecondEdgeFile read_second_edges(ByteSource bytes) {
  return EdgeReader(std::move(bytes)).read();
}

SecondEdgeFile read_second_edges(const std::filesystem::path& file) {
  return read_second_edges(ByteSource::from_file(file));
}

}  // namespace firstedge
