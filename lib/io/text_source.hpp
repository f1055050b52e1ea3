// TextSource: the lines of a text file, whatever ends them, from a file or from memory, by blocks.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/io/byte_source.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// No line may be longer; this bounds the memory that a file without line ends can ask for.
inline constexpr std::size_t longest_text_line = std::size_t{1} << 20U;

/// Lines in order. Lines end with LF, CRLF (or several CR before the LF), or CR in files that have no LF in
/// their first MiB. A UTF-8 byte order mark is skipped. Holds at most some 2 MiB of the file at a time.
class TextSource {
 public:
  /// Throws Error for UTF-16 and UTF-32 text (by its byte order mark, or by four NUL bytes among the first
  /// 16) and for a file that cannot be read.
  explicit TextSource(ByteSource bytes);

  const std::string& name() const { return bytes_.name(); }
  std::uint64_t size_bytes() const { return bytes_.size(); }
  /// How much of the file has been taken, in bytes.
  std::uint64_t taken_bytes() const { return offset_ - (window_.size() - taken_); }
  const std::filesystem::path& path() const { return bytes_.path(); }

  /// The first MiB of the file, or all of it. Only before a line is taken.
  std::span<const std::byte> head() const { return window_; }

  /// The lines ahead, without taking them: those that end within the next `most` bytes (the last line of a
  /// file counts as ended). The texts are valid until next_line() is called.
  std::vector<std::string_view> lines_ahead(std::size_t most);

  /// The next line without its end, valid until the next call; nothing at the end of the file. Throws Error
  /// for a line longer than longest_text_line.
  std::optional<std::string_view> next_line() {
    const std::string_view text = unread();
    const std::size_t length = text.find(line_end_);
    if (length > longest_text_line) return next_line_beyond(text);
    ++line_;
    taken_ += length + 1;
    return without_carriage_returns(text.substr(0, length));
  }

  /// The text from the next line on, as far as it is at hand, and what ends its lines.
  std::string_view text_ahead() const { return unread(); }
  char line_end() const { return line_end_; }
  /// Passes over the next line, whose length and end, at hand both, are so many bytes.
  void pass_line(std::size_t bytes) {
    ++line_;
    taken_ += bytes;
  }

  /// Number of the line that next_line() returned last, or pass_line() passed, from 1.
  std::uint64_t line() const { return line_; }
  std::string place() const { return place(line_); }
  std::string place(std::uint64_t line) const;

  /// True once the last line has been returned, if nothing ended it: its end may be cut off.
  bool last_line_is_open() const { return last_line_is_open_; }

 private:
  bool at_end() const { return offset_ == bytes_.size(); }
  std::string_view unread() const {
    // char may look at any object's bytes.
    return {reinterpret_cast<const char*>(window_.data()) + taken_, window_.size() - taken_};
  }
  static std::string_view without_carriage_returns(std::string_view line) {
    while (line.ends_with('\r')) line.remove_suffix(1);
    return line;
  }
  std::optional<std::string_view> next_line_beyond(std::string_view window);
  void fill();
  void check_encoding();

  ByteSource bytes_;
  std::vector<std::byte> window_;  // what has been read of the file
  std::size_t taken_ = 0;          // of the window
  std::uint64_t offset_ = 0;       // in the file: end of the window
  char line_end_ = '\n';
  std::uint64_t line_ = 0;
  bool last_line_is_open_ = false;
};

}  // namespace firstedge
