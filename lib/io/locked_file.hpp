// LockedFile: a file that one process at a time reads and writes, at any place.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <vector>

namespace firstedge {

class LockedFile {
 public:
  /// Opens or creates the file. Throws Error with the system's reason, or where another process has it.
  explicit LockedFile(std::filesystem::path file);
  ~LockedFile();
  LockedFile(const LockedFile&) = delete;
  LockedFile& operator=(const LockedFile&) = delete;

  const std::filesystem::path& path() const { return path_; }
  std::uint64_t size() const;
  /// The bytes [offset, offset + count), fewer where the file ends before. Throws Error.
  std::vector<std::byte> read(std::uint64_t offset, std::size_t count) const;
  /// Throws Error where the disk is full.
  void write(std::uint64_t offset, std::span<const std::byte> bytes);
  void cut(std::uint64_t size);
  /// Comes back when what was written stands on the disk.
  void settle();

 private:
  [[noreturn]] void refuse(const char* problem) const;
  std::filesystem::path path_;
  int descriptor_ = -1;
};

/// Comes back when the file, and its name in its folder, stand on the disk. Throws Error if that cannot be.
void settle_on_disk(const std::filesystem::path& file);

}  // namespace firstedge
