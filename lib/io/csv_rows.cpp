#include "firstedge/io/csv_rows.hpp"

namespace firstedge {

std::optional<std::string> CsvLines::next() {
  std::string line;
  std::streambuf& bytes = *stream_.rdbuf();
  ++number_;
  for (int c = bytes.sbumpc(); c != '\n'; c = bytes.sbumpc()) {
    if (c == std::char_traits<char>::eof()) {
      if (line.empty()) return std::nullopt;
      break;
    }
    line += static_cast<char>(c);
    if (line.size() > (line.front() == '#' ? longest_csv_comment : longest_csv_row))
      throw Error(place(), "the line is too long", remedy_);
  }
  if (!line.empty() && line.back() == '\r') line.pop_back();
  return line;
}

std::string CsvFields::next() {
  if (done_) refuse("has too few fields");
  std::string field;
  if (!rest_.empty() && rest_.front() == '"') {
    rest_.remove_prefix(1);
    while (true) {
      const std::size_t quote = rest_.find('"');
      if (quote == std::string_view::npos) refuse("has a quote that does not end");
      field += rest_.substr(0, quote);
      rest_.remove_prefix(quote + 1);
      if (rest_.empty() || rest_.front() != '"') break;
      field += '"';
      rest_.remove_prefix(1);
    }
    if (!rest_.empty() && rest_.front() != ',') refuse("has text behind a quote");
  } else {
    field = rest_.substr(0, rest_.find(','));
    rest_.remove_prefix(field.size());
  }
  done_ = rest_.empty();
  if (!done_) rest_.remove_prefix(1);
  return field;
}

}  // namespace firstedge
