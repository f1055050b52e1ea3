// Roles of columns: which is the time, which count samples or records, which are voltages.
#pragma once

#include "firstedge/io/text_dialect.hpp"
#include "firstedge/io/text_options.hpp"
#include "firstedge/io/text_titles.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

struct ColumnRoles {
  std::vector<std::size_t> times;
  std::vector<std::size_t> voltages;
  std::optional<std::size_t> index;
  std::optional<std::size_t> record;
};

/// What the options name; else by titles and their units; else a first column that rises evenly is the time,
/// and the other columns of numbers are voltages. Where another interval is stated (by the options or the
/// header, in s), a first column must rise by that interval, or evenly in 16 rows, to be the time; it counts
/// samples if it rises by one. rows_ahead: the lines from the first row on, looked at for the behaviour.
/// Throws Error naming `place` for a column that is not there, or if none is left for a voltage.
ColumnRoles find_roles(const TextRows& rows, const std::vector<ColumnTitle>& titles,
                       std::span<const std::string_view> rows_ahead, const TextOptions& options,
                       std::optional<double> stated_interval_s, const std::string& place);

/// The numbers of one column in the first rows, at most `most`, up to the first line that has no finite
/// number there.
std::vector<double> first_numbers(std::span<const std::string_view> rows_ahead, const TextRows& rows,
                                  std::size_t column, std::size_t most);

/// "column 2 'A'" or "column 2".
std::string column_words(std::size_t column, const std::vector<ColumnTitle>& titles);

}  // namespace firstedge
