// Finds files of a run that are byte for byte the same, without reading what cannot be.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>

namespace firstedge {

/// Files are compared by size and by a fingerprint of their first bytes, then by the SHA-256 of their whole
/// content, which is taken only of files that are equal in both, so that a run of unlike files costs nothing.
class IdenticalFiles {
 public:
  /// A number that files of the same content share, from the first bytes of a file: 4 KiB, or all.
  static std::uint64_t fingerprint(std::span<const std::byte> head);

  /// The first file added before that has the same content; nothing if there is none. Empty files are not
  /// compared. Throws Error if a file must be read again and cannot be.
  std::optional<std::filesystem::path> add(const std::filesystem::path& file, std::uint64_t size,
                                           std::uint64_t fingerprint);

 private:
  struct Alike {
    std::filesystem::path lone;  // the first, until a second comes
    std::map<std::string, std::filesystem::path> by_digest;
  };
  std::map<std::pair<std::uint64_t, std::uint64_t>, Alike> by_size_and_fingerprint_;
};

}  // namespace firstedge
