// Comma-separated rows of our own tables (RFC 4180), line by line and field by field, under limits.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/stamp.hpp"

#include <charconv>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <optional>
#include <string>
#include <string_view>

#include <fmt/format.h>

namespace firstedge {

inline constexpr std::size_t longest_csv_row = std::size_t{1} << 16U;
inline constexpr std::size_t longest_csv_comment = std::size_t{16} << 20U;  ///< lines that begin with '#'

/// A text file line by line, none longer than allowed.
class CsvLines {
 public:
  /// remedy: the last part of an error's sentence.
  CsvLines(const std::filesystem::path& file, std::string remedy)
      : name_(file.string()), remedy_(std::move(remedy)), stream_(file, std::ios::binary) {}

  /// "<file>, line <number>" of the line that next() gave last.
  std::string place() const { return fmt::format("{}, line {}", name_, number_); }

  /// The next line without its end (LF or CR LF); nothing at the end of the file. Throws Error for a line
  /// that is too long.
  std::optional<std::string> next();

 private:
  std::string name_, remedy_;
  std::ifstream stream_;
  std::uint64_t number_ = 0;
};

/// The fields of a row one after the other, quoted or plain.
class CsvFields {
 public:
  CsvFields(std::string_view line, std::string place, std::string remedy)
      : rest_(line), place_(std::move(place)), remedy_(std::move(remedy)) {}

  bool done() const { return done_; }
  /// Throws Error where there is none, and for a quote that does not end where the field does.
  std::string next();

  template <class Number>
  Number number(const char* name) {
    const std::string field = next();
    Number value{};
    const char* const end = field.data() + field.size();
    const auto [stop, error] = std::from_chars(field.data(), end, value);
    if (error != std::errc() || stop != end) refuse(fmt::format("has the {} '{}'", name, field));
    return value;
  }
  /// NaN for an empty field.
  double number_or_nan(const char* name) {
    if (rest_.empty() || rest_.front() == ',') {
      next();
      return not_known;
    }
    return number<double>(name);
  }

  /// Throws Error if fields are left.
  void finish() const {
    if (!done_) refuse("has too many fields");
  }
  [[noreturn]] void refuse(const std::string& problem) const {
    throw Error(place_, "the row " + problem, remedy_);
  }

 private:
  std::string_view rest_;
  std::string place_, remedy_;
  bool done_ = false;
};

}  // namespace firstedge
