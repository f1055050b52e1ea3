// ByteSource: where a reader's bytes come from, a file or memory, so that a file, a test and a fuzzer use one
// entry.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

class OpenFile;

/// Bytes that can be read anywhere, of a size that is known before anything is read. A file is opened at the
/// first read and can be put down again, so that thousands of sources are held at the cost of their names.
/// Files are read with pread, not mapped: one that shrinks meanwhile gives an Error, not a bus error.
class ByteSource {
 public:
  /// Throws Error unless the file exists, is a regular file (not a folder, pipe or device) and can be opened.
  static ByteSource from_file(const std::filesystem::path& file);
  static ByteSource from_bytes(std::vector<std::byte> bytes, std::string name);

  ByteSource(ByteSource&&) noexcept;
  ByteSource& operator=(ByteSource&&) noexcept;
  ~ByteSource();

  const std::string& name() const { return name_; }  ///< for error sentences: the path as it was given
  const std::filesystem::path& path() const { return path_; }  ///< empty for memory
  std::uint64_t size() const { return size_; }

  /// The bytes [offset, offset + count). Throws Error if they do not all exist (checked before allocation) or
  /// the file cannot be read.
  std::vector<std::byte> read(std::uint64_t offset, std::size_t count) const;

  /// The first bytes, at most `most` of them.
  std::vector<std::byte> head(std::size_t most) const;

  /// Closes the file until the next read.
  void put_down() const;

 private:
  ByteSource();

  std::string name_;
  std::filesystem::path path_;
  std::uint64_t size_ = 0;
  std::vector<std::byte> bytes_;
  mutable std::unique_ptr<OpenFile> open_file_;
};

/// The size of a file that may be read, in bytes. Throws Error where ByteSource::from_file does, without
/// opening it.
std::uint64_t readable_size(const std::filesystem::path& file);

/// True if the first bytes of a file may be text: at least one byte, and none NUL and at most one in a
/// hundred another control character than white space; or a UTF-16 byte order mark, which the text reader
/// refuses with a sentence.
bool looks_like_text(std::span<const std::byte> head);

/// The whole of a small text file. Throws Error as from_file does, and for more than most_bytes.
std::string read_text_file(const std::filesystem::path& file, std::size_t most_bytes);

}  // namespace firstedge
