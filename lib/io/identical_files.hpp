// Finds files of a run that are byte for byte the same, without reading what cannot be.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Files are compared by size, then by the SHA-256 of their first MiB, then of their whole content; each step
/// is taken only for files that are equal in the one before, so that a run of unlike files costs nothing.
class IdenticalFiles {
 public:
  /// How much of a file add() wants to see.
  static constexpr std::size_t head_bytes = std::size_t{1} << 20U;

  /// The first file added before that has the same content; nothing if there is none. head: the first bytes
  /// of the file, head_bytes or all. Empty files are not compared. Throws Error if a file must be read again
  /// and cannot be.
  std::optional<std::filesystem::path> add(const std::filesystem::path& file, std::uint64_t size,
                                           std::span<const std::byte> head);

 private:
  struct Known {
    std::filesystem::path file;
    std::string digest;  // of the whole content; empty until needed
  };
  struct SameSize {
    std::filesystem::path lone;  // the first, until a second comes
    std::map<std::string, std::vector<Known>> by_head;
  };
  std::map<std::uint64_t, SameSize> by_size_;
};

}  // namespace firstedge
