// Small tables of text that people write by hand: a row of names, then rows of values.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

inline constexpr std::size_t most_table_bytes = std::size_t{16} << 20U;  ///< 16 MiB

/// A table read whole. Fields are separated by commas, semicolons or tabs (whichever the row of names has
/// most of), may stand in double quotes, and use the decimal point; empty lines and lines that start with '#'
/// are passed over. A unit may follow a name in brackets, "difference (ns)", or a value, "3.1 ns"; a bare
/// number under a bare name is in SI units.
class ColumnTable {
 public:
  /// Throws Error for a file that cannot be read or is larger than most_table_bytes.
  static ColumnTable read(const std::filesystem::path& file);
  /// Throws Error, with the line, for a text without a row of names, a name given twice or without letters,
  /// or a row with more or fewer fields than names. place: names the text in errors.
  static ColumnTable parse(std::string_view text, const std::string& place);

  std::size_t rows() const { return lines_.size(); }
  bool has(const std::string& name) const { return column(name).has_value(); }
  /// Throws Error if the column is not there, and for any other column than those wanted or allowed.
  void check_columns(const std::vector<std::string>& wanted, const std::vector<std::string>& allowed) const;

  /// The field, "" where it is empty or the column is not there.
  std::string text(std::size_t row, const std::string& name) const;
  /// The quantity in SI units; nothing where the field is empty or the column is not there. Throws Error,
  /// with line and column, for anything that is not a finite number with such a unit.
  std::optional<double> quantity(std::size_t row, const std::string& name, std::string_view si_unit) const;
  /// The same, and Error where it is empty.
  double needed_quantity(std::size_t row, const std::string& name, std::string_view si_unit) const;
  /// "file, line 12".
  std::string place(std::size_t row) const;

 private:
  std::optional<std::size_t> column(const std::string& name) const;

  std::string place_;
  std::vector<std::string> names_, units_;
  std::vector<std::size_t> lines_;                // line number of each row, from 1
  std::vector<std::vector<std::string>> fields_;  // by row
};

}  // namespace firstedge
