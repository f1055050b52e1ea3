#include "firstedge/io/identical_files.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/io/byte_source.hpp"

#include <utility>

namespace firstedge {

std::optional<std::filesystem::path> IdenticalFiles::add(const std::filesystem::path& file,
                                                         std::uint64_t size,
                                                         std::span<const std::byte> head) {
  if (size == 0) return std::nullopt;
  const auto [entry, is_first] = by_size_.try_emplace(size);
  SameSize& same = entry->second;
  if (is_first) {
    same.lone = file;
    return std::nullopt;
  }
  if (!same.lone.empty()) {
    const std::vector<std::byte> lone_head = ByteSource::from_file(same.lone).head(head_bytes);
    same.by_head[sha256(lone_head)].push_back({same.lone, {}});
    same.lone.clear();
  }
  std::vector<Known>& known = same.by_head[sha256(head)];
  Known added{file, {}};
  for (Known& one : known) {
    if (size <= head_bytes) return one.file;
    if (one.digest.empty()) one.digest = sha256_of_file(one.file);
    if (added.digest.empty()) added.digest = sha256_of_file(file);
    if (one.digest == added.digest) return one.file;
  }
  known.push_back(std::move(added));
  return std::nullopt;
}

}  // namespace firstedge
