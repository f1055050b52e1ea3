#include "firstedge/io/identical_files.hpp"

#include "firstedge/core/digest.hpp"

#include <algorithm>
#include <functional>
#include <string_view>

namespace firstedge {

std::uint64_t IdenticalFiles::fingerprint(std::span<const std::byte> head) {
  constexpr std::size_t looked_at = 4096;
  const auto start = head.first(std::min(head.size(), looked_at));
  // char may look at any object's bytes.
  return std::hash<std::string_view>{}({reinterpret_cast<const char*>(start.data()), start.size()});
}

std::optional<std::filesystem::path> IdenticalFiles::add(const std::filesystem::path& file,
                                                         std::uint64_t size, std::uint64_t fingerprint) {
  if (size == 0) return std::nullopt;
  const auto [entry, is_first] = by_size_and_fingerprint_.try_emplace({size, fingerprint});
  Alike& alike = entry->second;
  if (is_first) {
    alike.lone = file;
    return std::nullopt;
  }
  if (!alike.lone.empty()) {
    alike.by_digest.emplace(sha256_of_file(alike.lone), alike.lone);
    alike.lone.clear();
  }
  const auto [same, is_new] = alike.by_digest.emplace(sha256_of_file(file), file);
  return is_new ? std::nullopt : std::optional(same->second);
}

}  // namespace firstedge
