// OpenFile: a file that is open for reading and closes itself.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>

namespace firstedge {

class OpenFile {
 public:
  /// Throws Error as refuse_to_open. Does not wait for anybody at the other end of a pipe.
  explicit OpenFile(const std::filesystem::path& file);
  ~OpenFile();
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;

  /// Reads the bytes from `offset` on until `into` is full or the file ends, and gives their number. Throws
  /// Error where they cannot be read.
  std::size_t read(std::uint64_t offset, std::span<std::byte> into) const;

 private:
  std::filesystem::path file_;
  int number_;
};

/// Throws the Error of a file that the system does not open; cause: its errno.
[[noreturn]] void refuse_to_open(const std::filesystem::path& file, int cause);

}  // namespace firstedge
