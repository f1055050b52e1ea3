// Parts of a Result by their keys, for tests of the analyses.
#pragma once

#include "firstedge/core/result.hpp"

#include <algorithm>
#include <cstddef>
#include <stdexcept>
#include <string>
#include <variant>

namespace firstedge::test {

inline const Table& table_of(const Result& result, const std::string& key) {
  const auto found = std::find_if(result.tables.begin(), result.tables.end(),
                                  [&](const Table& table) { return table.key == key; });
  if (found == result.tables.end()) throw std::out_of_range("no table " + key);
  return *found;
}

inline const Plot& plot_of(const Result& result, const std::string& key) {
  const auto found = std::find_if(result.plots.begin(), result.plots.end(),
                                  [&](const Plot& plot) { return plot.key == key; });
  if (found == result.plots.end()) throw std::out_of_range("no plot " + key);
  return *found;
}

inline Estimate figure_of(const Result& result, const std::string& key) {
  const auto found = std::find_if(result.figures.begin(), result.figures.end(),
                                  [&](const Figure& figure) { return figure.key == key; });
  if (found == result.figures.end()) throw std::out_of_range("no figure " + key);
  return found->estimate;
}

/// The number in a cell, with its uncertainty where it has one.
inline Estimate cell_of(const Table& table, std::size_t row, const std::string& column) {
  const auto found = std::find_if(table.columns.begin(), table.columns.end(),
                                  [&](const Table::Column& each) { return each.key == column; });
  if (found == table.columns.end()) throw std::out_of_range("no column " + column);
  const Table::Cell& cell = table.rows.at(row).at(static_cast<std::size_t>(found - table.columns.begin()));
  if (const auto* estimate = std::get_if<Estimate>(&cell)) return *estimate;
  return {std::get<double>(cell), 0};
}

/// The number in the "counts" table of an analysis whose second column is `what`, in the rows of `of`.
inline double count_of(const Result& result, const std::string& of, const std::string& what) {
  for (const auto& row : table_of(result, "counts").rows) {
    if (std::get<std::string>(row.at(0)) == of && std::get<std::string>(row.at(1)) == what)
      return std::get<double>(row.at(2));
  }
  throw std::out_of_range("no count " + of + ", " + what);
}

}  // namespace firstedge::test
