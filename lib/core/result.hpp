// Result: what an analysis found, in a form that the report room can show as text, JSON and a page.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace firstedge {

/// A named figure with its unit ("s", "V", "" for a plain number).
struct Figure {
  std::string key;    ///< for programs: lower case with underscores, unique in the result
  std::string label;  ///< for people
  Estimate estimate;
  std::string unit;
};

/// A table. A cell is a text, a plain number, or an Estimate; numbers carry the unit of their column (SI; the
/// report chooses the prefix). A NaN cell is shown as a dash.
struct Table {
  struct Column {
    std::string key, label, unit;
  };
  using Cell = std::variant<std::string, double, Estimate>;
  std::string key, title, note;  ///< key is unique among the tables of a result
  std::vector<Column> columns;   ///< their keys are unique in the table
  std::vector<std::vector<Cell>> rows;
};

/// One set of points in a plot. For bars and steps x is the middle of a bin, in rising order; its edges lie
/// half-way to the middles beside it, as the axis shows them (the geometric middle on a logarithmic axis), so
/// that bins may differ in width; an outer bin reaches as far out as in. Faint series of one label share an
/// entry in the list of series.
struct Series {
  enum class Kind : std::uint8_t { line, points, steps, bars };
  std::string label;
  Kind kind = Kind::line;
  std::vector<double> x, y;           ///< same size; NaN in y breaks a line
  std::vector<double> y_uncertainty;  ///< empty or same size: drawn as error bars
  std::vector<double> y_low, y_high;  ///< empty or same size: an interval about y, drawn in place of those
  bool faint = false;                 ///< drawn in the background, as one of many overlaid traces
};

/// The kind's name in JSON and on a page.
constexpr std::string_view name_of(Series::Kind kind) {
  constexpr std::array<std::string_view, 4> names{"line", "points", "steps", "bars"};
  return names.at(static_cast<std::size_t>(kind));
}

/// A plot with its axes and a caption that says what to look for. All values SI; the report chooses the
/// prefix.
struct Plot {
  struct Axis {
    std::string label, unit;
    bool logarithmic = false;
  };
  struct Marker {
    double at = 0;
    bool vertical = true;
    std::string label;
  };
  std::string key, title, caption;  ///< key is unique among the plots of a result
  Axis x, y;
  std::vector<Series> series;
  std::vector<Marker> markers;
};

/// What made a result, so that another lab can make it again. No clock time: the same input gives the same
/// output.
struct Provenance {
  struct Input {
    std::string name;
    std::uint64_t bytes = 0;
    std::string sha256;
  };
  std::string program, version, command;
  std::vector<Input> inputs;
  std::string setup;  ///< the Setup's text as it was read, "" without one
  std::map<std::string, std::string> options;
};

/// The outcome of one analysis or run. answer is one sentence with its uncertainty.
struct Result {
  std::string kind;  ///< "jitter", "amplitude spectrum", ...
  std::string title, answer;
  std::vector<Figure> figures;
  std::vector<Table> tables;
  std::vector<Plot> plots;
  std::vector<std::string> warnings;
  std::vector<std::string> cautions;
  Provenance provenance;
};

}  // namespace firstedge
