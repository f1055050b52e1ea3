#include "firstedge/io/text_records.hpp"

#include "firstedge/io/text_layout_again.hpp"

#include <algorithm>
#include <cmath>
#include <set>
#include <span>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_header_lines_between = 10000;  // of one record

std::vector<std::size_t> wanted_columns(const TextLayout& layout) {
  std::set<std::size_t> wanted;
  for (const TimeColumn& time : layout.times) wanted.insert(time.column);
  for (const VoltageColumn& voltage : layout.voltages) wanted.insert(voltage.column);
  if (layout.index_column) wanted.insert(*layout.index_column);
  if (layout.record_column) wanted.insert(*layout.record_column);
  return {wanted.begin(), wanted.end()};
}

std::size_t position_among(const std::vector<std::size_t>& wanted, std::size_t column) {
  return static_cast<std::size_t>(std::lower_bound(wanted.begin(), wanted.end(), column) - wanted.begin());
}

std::optional<std::size_t> axis_column(const TextLayout& layout) {
  return layout.times.empty() ? layout.index_column : std::optional(layout.times.front().column);
}

// With a record length, only what is named in the options separates beside it.
TextOptions with_separators_settled(TextOptions options) {
  if (options.record_length > 0 && !options.separators_given) {
    options.blank_line_separates = options.header_separates = options.time_separates = false;
  }
  return options;
}

bool is_rule(std::string_view line) {
  line = without_blanks(line);
  return line.size() >= 4 && std::string_view("-=*_").find(line[0]) != std::string_view::npos &&
         line.find_first_not_of(line[0]) == std::string_view::npos;
}

bool has_control_characters(std::string_view line) {
  return std::any_of(line.begin(), line.end(), [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return (byte < 0x20 && c != '\t') || byte == 0x7f;
  });
}

// Text has words; a row whose numbers cannot be read has at most an exponent's letter in a row.
bool has_word(std::string_view line) {
  int letters = 0;
  for (const char c : line) {
    const bool is_letter =
        (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || static_cast<unsigned char>(c) >= 0x80;
    letters = is_letter ? letters + 1 : 0;
    if (letters == 2) return true;
  }
  return false;
}

}  // namespace

TextRecordStream::TextRecordStream(TextSource source, std::shared_ptr<const TextLayout> layout,
                                   TextOptions options)
    : source_(std::move(source)),
      layout_(std::move(layout)),
      options_(with_separators_settled(std::move(options))),
      wanted_(wanted_columns(*layout_)),
      parser_(layout_->dialect, wanted_, std::max(layout_->columns, wanted_.back() + 1)),
      axis_column_(axis_column(*layout_)),
      header_lines_left_(layout_->header_lines) {
  if (axis_column_) axis_wanted_ = position_among(wanted_, *axis_column_);
}

std::optional<TextRecord> TextRecordStream::next() {
  while (!ended_ && !last_damage_) {
    try {
      if (draft_.rows > 0) take_usual_rows();
      const auto line = source_.next_line();
      if (!line) return end_of_file();
      if (header_lines_left_ > 0) {
        --header_lines_left_;
      } else if (auto record = take(*line)) {
        return record;
      }
    } catch (const Error& error) {  // a line too long, or the file cannot be read on
      if (!draft_.damage) draft_.damage = error;
      gap_ = {};
      return end_of_file();
    }
  }
  if (ended_) return std::nullopt;
  draft_.damage = std::exchange(last_damage_, std::nullopt);
  return end_of_file();
}

// Takes plain rows behind a row at full speed, up to the first line that may be something else.
void TextRecordStream::take_usual_rows() {
  while (true) {
    const RowParser::PlainLine line = parser_.parse_plain_line(source_.text_ahead(), source_.line_end());
    if (line.with_end == 0 || line.length > longest_text_line || !is_usual_row()) return;
    source_.pass_line(line.with_end);
    keep_row(line.length);
  }
}

std::optional<TextRecord> TextRecordStream::take(std::string_view line) {
  const LineKind kind = kind_of(line);
  if (kind == LineKind::row && is_usual_row()) {
    keep_row(line.size());
    return std::nullopt;
  }
  gap_.is_open = true;
  switch (kind) {
    case LineKind::row:
      return take_row(line, true);
    case LineKind::damaged_row:
      return take_row(line, false);
    case LineKind::blank:
      gap_.blank = true;
      break;
    case LineKind::header:
      gap_.header = true;
      take_header_line(line);
      break;
    case LineKind::comment:
      take_header_line(line);
      break;
    case LineKind::stray:
      if (!gap_.stray) gap_.stray = source_.line();
      take_header_line(line);
      break;
    case LineKind::other_columns:
      last_damage_.emplace(source_.place(), "the columns are named otherwise than at the start of the file",
                           "put records with other columns into files of their own");
      gap_ = {};
      if (draft_.rows > 0) return finish();
      break;
  }
  return std::nullopt;
}

void TextRecordStream::take_header_line(std::string_view line) {
  if (gap_.lines.size() < most_header_lines_between)
    gap_.lines.push_back({source_.line(), std::string(line)});
}

TextRecordStream::LineKind TextRecordStream::kind_of(std::string_view line) {
  if (parser_.parse(line)) return LineKind::row;
  if (is_blank_line(line, layout_->dialect.delimiter) || is_rule(line)) return LineKind::blank;
  const std::string key = header_key(line, layout_->dialect.delimiter);
  if (!key.empty() && layout_->header_keys.contains(key)) {
    return has_other_columns(line) ? LineKind::other_columns : LineKind::header;
  }
  if (has_control_characters(line)) return LineKind::damaged_row;
  if (is_comment(line)) return axis_column_ ? LineKind::comment : LineKind::header;
  return has_word(line) && !parser_.has_wanted_number(line) ? LineKind::stray : LineKind::damaged_row;
}

// True for a line that looks like the line of titles, but says something else.
bool TextRecordStream::has_other_columns(std::string_view line) const {
  const char delimiter = layout_->dialect.delimiter;
  const auto fields = [delimiter](std::string_view text) {
    FieldCursor cursor(without_comment_mark(text), delimiter);
    std::size_t count = 0;
    while (cursor.next()) ++count;
    return count;
  };
  return !layout_->title_line.empty() &&
         header_key(line, delimiter) == header_key(layout_->title_line, delimiter) &&
         without_blanks(line) != without_blanks(layout_->title_line) &&
         fields(line) >= fields(layout_->title_line);
}

TextRecordStream::Position TextRecordStream::position_of_row() const {
  Position position;
  if (axis_wanted_) position.axis = parser_.values()[*axis_wanted_];
  if (layout_->record_column) {
    position.record = parser_.values()[position_among(wanted_, *layout_->record_column)];
  }
  return position;
}

TextRecordStream::Position TextRecordStream::position_in(std::string_view damaged_line) const {
  Position position;
  if (axis_column_) position.axis = parser_.number_in(damaged_line, *axis_column_);
  if (layout_->record_column) position.record = parser_.number_in(damaged_line, *layout_->record_column);
  return position;
}

bool TextRecordStream::is_usable(const Position& position) const {
  const auto good = [](bool wanted, const std::optional<double>& value) {
    return !wanted || (value && std::isfinite(*value));
  };
  return good(axis_column_.has_value(), position.axis) &&
         good(layout_->record_column.has_value(), position.record);
}

bool TextRecordStream::is_back_at_start(double axis) const {
  const Position& first = draft_.first;
  const Position& last = draft_.last;
  if (!first.axis || !last.axis || draft_.steps == 0 || !(axis < *last.axis)) return false;
  const double interval = (*last.axis - *first.axis) / static_cast<double>(draft_.steps);
  return std::abs(axis - *first.axis) <= (draft_.steps < 3 ? 0.25 : 1.0) * interval;
}

bool TextRecordStream::starts_record(const Position& position) const {
  if (draft_.rows == 0) return false;  // it has begun already
  if (options_.record_length > 0 && draft_.rows >= options_.record_length) return true;
  if (gap_.blank && options_.blank_line_separates && !layout_->double_spaced) return true;
  if (gap_.header && options_.header_separates) return true;
  if (position.record && draft_.last.record && *position.record != *draft_.last.record) return true;
  return options_.time_separates && position.axis && is_back_at_start(*position.axis);
}

std::optional<TextRecord> TextRecordStream::take_row(std::string_view line, bool good) {
  const Position position = good ? position_of_row() : position_in(line);
  std::optional<TextRecord> done;
  if (starts_record(position)) {
    gap_.stray.reset();  // text above the new record
    done = finish();
  }
  if (draft_.rows == 0) {
    draft_.header = std::move(gap_.lines);
  } else if (gap_.stray && !draft_.damage) {
    draft_.damage.emplace(source_.place(*gap_.stray), "is neither a row of numbers nor a header line",
                          "remove it, or let a blank line separate records");
  }
  gap_ = {};
  add_row(line, good, position);
  return done;
}

// A row after which nothing has to be decided: it follows right behind another of a good record, and its time
// rises.
bool TextRecordStream::is_usual_row() const {
  if (gap_.is_open || draft_.damage || draft_.rows == 0 || layout_->record_column) return false;
  const std::size_t most_rows = options_.record_length > 0 ? options_.record_length : most_text_rows;
  return draft_.rows < most_rows && (!axis_wanted_ || parser_.values()[*axis_wanted_] > *draft_.last.axis);
}

// Adds the row to a record without damage.
void TextRecordStream::keep_row(std::size_t bytes) {
  if (draft_.kept.columns.empty()) {
    // As many rows as before, or as fit into a small file.
    const std::uint64_t rows_in_file = source_.size_bytes() / (bytes + 1) + 1;
    const std::size_t rows =
        rows_expected_ > 0 ? rows_expected_ : std::min<std::uint64_t>(rows_in_file, 65536);
    draft_.kept.columns.resize(wanted_.size());
    for (std::vector<double>& column : draft_.kept.columns) column.reserve(rows);
    draft_.kept.lines.reserve(rows);
  }
  const std::span<const double> values = parser_.values();
  for (std::size_t i = 0; i < values.size(); ++i) draft_.kept.columns[i].push_back(values[i]);
  draft_.kept.lines.push_back(source_.line());
  if (axis_wanted_) {
    draft_.steps += draft_.first.axis ? 1 : 0;
    draft_.last.axis = values[*axis_wanted_];
    if (!draft_.first.axis) draft_.first.axis = draft_.last.axis;
  }
  ++draft_.rows;
  bytes_of_row_before_ = std::exchange(bytes_of_last_row_, bytes);
}

// Counts the row in a damaged record, so that the start of the next is recognised.
void TextRecordStream::pass_over_row(const Position& position) {
  if (position.axis && std::isfinite(*position.axis)) {
    draft_.steps += draft_.first.axis ? 1 : 0;
    draft_.last.axis = position.axis;
    if (!draft_.first.axis) draft_.first.axis = draft_.last.axis;
  }
  draft_.kept = {};
  ++draft_.rows;
}

void TextRecordStream::add_row(std::string_view line, bool good, const Position& position) {
  if (!good) {
    add_damage(parser_.fault_of(line), "correct the line, or remove the record");
  } else if (!is_usable(position)) {
    add_damage("the time or the count in this row is not a finite number", "correct the line");
  } else if (draft_.rows >= most_text_rows) {
    add_damage(fmt::format("the record has more than {} rows", most_text_rows),
               "separate records by blank lines, or set input/record_length");
  }
  if (position.record) draft_.last.record = position.record;
  if (draft_.damage) {
    pass_over_row(position);
  } else {
    keep_row(line.size());
  }
}

void TextRecordStream::add_damage(const std::string& problem, const std::string& remedy) {
  if (!draft_.damage) draft_.damage.emplace(source_.place(), problem, remedy);
}

HeaderFacts TextRecordStream::facts_for(const std::vector<HeaderLine>& header) const {
  if (is_first_record_) return layout_->facts;
  const HeaderFacts own = facts_of(header, layout_->dialect, options_.time_scale);
  HeaderFacts facts = own.over(layout_->facts);
  // These belong to the record that their header stands above.
  facts.trigger = own.trigger;
  facts.samples = own.samples;
  return facts;
}

// Closes the record that is being read and begins the next.
TextRecord TextRecordStream::finish() {
  Draft draft = std::exchange(draft_, {});
  TextRecord record;
  if (draft.damage) {
    record.damage = std::move(draft.damage);
  } else {
    rows_expected_ = draft.kept.lines.size();
    draft.kept.facts = facts_for(draft.header);
    draft.kept.file = source_.name();
    draft.kept.wanted = wanted_;
    record = traces_of(std::move(draft.kept), *layout_, options_);
  }
  is_first_record_ = false;
  return record;
}

std::optional<TextRecord> TextRecordStream::end_of_file() {
  ended_ = true;
  if (draft_.rows == 0 && !draft_.damage) return std::nullopt;
  TextRecord record = finish();
  if (gap_.stray) {
    record.remarks.push_back({"text behind", fmt::format("{}: the text behind the last row is left out",
                                                         source_.place(*gap_.stray))});
  }
  if (source_.last_line_is_open() && gap_.lines.empty() && bytes_of_last_row_ < bytes_of_row_before_) {
    record.remarks.push_back(
        {"open end", fmt::format("{}: no line end follows the last row, which is shorter "
                                 "than the one before it and may be cut off",
                                 source_.place())});
  }
  return record;
}

TextRecordStream open_text_records(ByteSource bytes, const TextOptions& options,
                                   std::optional<TextDialect> hint,
                                   const std::shared_ptr<const TextLayout>& known) {
  TextSource source(std::move(bytes));
  if (known && hint && known->dialect == *hint && is_layout_of(*known, source))
    return {std::move(source), known, options};
  auto layout = std::make_shared<const TextLayout>(find_layout(source, options, hint));
  return {std::move(source), std::move(layout), options};
}

}  // namespace firstedge
