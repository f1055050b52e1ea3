// The records of one text file, one after the other.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/io/text_layout.hpp"
#include "firstedge/io/text_options.hpp"
#include "firstedge/io/text_rows.hpp"
#include "firstedge/io/text_source.hpp"
#include "firstedge/io/text_traces.hpp"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// No record may have more rows (0.5 GiB a column).
inline constexpr std::size_t most_text_rows = std::size_t{1} << 26U;

/// Takes a file's rows apart into records. A new record starts at a row
///   - behind a blank line, or a line of nothing but four or more of "-", "=", "*" or "_";
///   - behind a header line: one whose first word stands in the file's header too, or, where no column has
///     times or sample counts, a comment;
///   - whose time (or sample count) is back at that of the record's first row, within one interval (within a
///     quarter of one after fewer than four rows);
///   - with another number in the record column;
///   - after input/record_length rows; then nothing else separates, unless input/record_separators says so.
/// A line of words that is neither row, header nor blank damages the record that it stands in, unless a new
/// record starts right behind it or the file ends there. A header line that names other columns ends the
/// reading of the file.
class TextRecordStream {
 public:
  TextRecordStream(TextSource source, std::shared_ptr<const TextLayout> layout, TextOptions options);

  /// The next record, good or damaged; nothing at the end of the file. Never throws Error.
  std::optional<TextRecord> next();

  const TextLayout& layout() const { return *layout_; }
  std::shared_ptr<const TextLayout> shared_layout() const { return layout_; }
  const TextSource& source() const { return source_; }

 private:
  // Where a row stands; what cannot be read is absent.
  struct Position {
    std::optional<double> axis;  // its time or sample count
    std::optional<double> record;
  };
  // The record that is being read.
  struct Draft {
    std::uint64_t rows = 0;  // damaged ones included
    TextRecordRows kept;     // nothing once it is damaged
    Position first, last;
    std::uint64_t steps = 0;  // between the rows with a readable axis
    std::vector<HeaderLine> header;
    std::optional<Error> damage;
  };
  // What has been met since the last row.
  struct Gap {
    bool is_open = false;  // anything at all
    bool blank = false;
    bool header = false;
    std::vector<HeaderLine> lines;
    std::optional<std::uint64_t> stray;  // the first line that is neither row, header nor blank
  };
  enum class LineKind { row, blank, header, comment, stray, damaged_row, other_columns };

  std::optional<TextRecord> take(std::string_view line);
  LineKind kind_of(std::string_view line);
  void take_header_line(std::string_view line);
  void take_usual_rows();
  bool is_usual_row() const;
  void keep_row(std::size_t bytes);
  std::optional<TextRecord> take_row(std::string_view line, bool good);
  bool has_other_columns(std::string_view line) const;
  Position position_of_row() const;
  Position position_in(std::string_view damaged_line) const;
  bool starts_record(const Position& position) const;
  bool is_back_at_start(double axis) const;
  void add_row(std::string_view line, bool good, const Position& position);
  void pass_over_row(const Position& position);
  void add_damage(const std::string& problem, const std::string& remedy);
  bool is_usable(const Position& position) const;
  TextRecord finish();
  std::optional<TextRecord> end_of_file();
  HeaderFacts facts_for(const std::vector<HeaderLine>& header) const;

  TextSource source_;
  std::shared_ptr<const TextLayout> layout_;
  TextOptions options_;
  std::vector<std::size_t> wanted_;
  RowParser parser_;
  std::optional<std::size_t> axis_column_, axis_wanted_;  // in the file, and among the wanted
  Draft draft_;
  Gap gap_;
  std::uint64_t header_lines_left_;
  bool is_first_record_ = true;
  bool ended_ = false;
  std::optional<Error> last_damage_;  // why the rest of the file is not read
  std::size_t rows_expected_ = 0;     // as many as the record before had
  std::size_t bytes_of_last_row_ = 0;
  std::size_t bytes_of_row_before_ = 0;
};

/// The one entry for a file, a test and a fuzzer: finds the layout, then stands before the first record.
/// `hint` as in find_layout, which says what is thrown. `known`, of another file of the run, is taken where
/// it is what find_layout would find; null: none is known.
TextRecordStream open_text_records(ByteSource bytes, const TextOptions& options,
                                   std::optional<TextDialect> hint = std::nullopt,
                                   const std::shared_ptr<const TextLayout>& known = nullptr);

}  // namespace firstedge
