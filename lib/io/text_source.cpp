#include "firstedge/io/text_source.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t block_bytes = std::size_t{1} << 20U;

}  // namespace

TextSource::TextSource(ByteSource bytes) : bytes_(std::move(bytes)) {
  fill();
  check_encoding();
  const bool has_line_feed = unread().find('\n') != std::string_view::npos;
  line_end_ = has_line_feed || unread().find('\r') == std::string_view::npos ? '\n' : '\r';
}

// Moves what is not taken yet to the front and reads one more block behind it.
void TextSource::fill() {
  window_.erase(window_.begin(), window_.begin() + static_cast<std::ptrdiff_t>(taken_));
  taken_ = 0;
  const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(block_bytes, bytes_.size() - offset_));
  std::vector<std::byte> more = bytes_.read(offset_, count);
  offset_ += count;
  if (at_end()) bytes_.put_down();
  if (window_.empty()) {
    window_ = std::move(more);
  } else {
    window_.insert(window_.end(), more.begin(), more.end());
  }
}

void TextSource::check_encoding() {
  const std::string_view head = unread();
  if (head.starts_with("\xEF\xBB\xBF")) {
    taken_ = 3;
    return;
  }
  const bool marked = head.starts_with("\xFF\xFE") || head.starts_with("\xFE\xFF");
  const std::string_view first = head.substr(0, 16);
  const bool many_nul = std::count(first.begin(), first.end(), '\0') >= 4;
  if (!marked && !many_nul) return;
  throw Error(name(),
              marked ? "starts with the byte order mark of UTF-16 or UTF-32 text"
                     : "starts with NUL bytes: this is UTF-16 text or no text at all",
              "save it as UTF-8 text");
}

std::vector<std::string_view> TextSource::lines_ahead(std::size_t most) {
  if (unread().size() < most && !at_end()) fill();
  std::string_view text = unread().substr(0, most);
  const bool whole = at_end() && text.size() == unread().size();
  std::vector<std::string_view> lines;
  lines.reserve(256);
  while (!text.empty()) {
    const std::size_t length = text.find(line_end_);
    if (length == std::string_view::npos && !whole) break;
    lines.push_back(without_carriage_returns(text.substr(0, length)));
    text.remove_prefix(std::min(text.size(), length == std::string_view::npos ? length : length + 1));
  }
  return lines;
}

// The next line where it does not end in the window, or too late.
std::optional<std::string_view> TextSource::next_line_beyond(std::string_view window) {
  std::size_t length = window.find(line_end_);
  while (length == std::string_view::npos && !at_end() && unread().size() <= longest_text_line) {
    const std::size_t searched = unread().size();
    fill();
    length = unread().find(line_end_, searched);
  }
  const std::string_view text = unread();
  if (text.empty()) return std::nullopt;
  ++line_;
  if (std::min(length, text.size()) > longest_text_line) {
    throw Error(place(), "is longer than 1 MiB", "check that this is text with one sample a line");
  }
  if (length == std::string_view::npos) {
    last_line_is_open_ = true;
    taken_ += text.size();
  } else {
    taken_ += length + 1;
  }
  return without_carriage_returns(text.substr(0, length));
}

std::string TextSource::place(std::uint64_t line) const {
  return fmt::format("{}, line {}", name(), line);
}

}  // namespace firstedge
