// Chunks of an HDF5 dataset packed as its filters shuffle and deflate have them, beside the writing.
#pragma once

#include <cstddef>
#include <deque>
#include <memory>
#include <span>
#include <vector>

namespace firstedge {

/// The first bytes of all elements, then the second ones and so on, deflated in zlib's format. The size must
/// be a whole number of elements.
std::vector<std::byte> shuffled_and_deflated(std::span<const std::byte> chunk, std::size_t element_bytes);

/// Packs chunks by whatever threads have nothing else to do, and gives them back in order. For one thread at
/// a time.
class ChunkPacker {
 public:
  explicit ChunkPacker(std::size_t element_bytes);
  ~ChunkPacker();
  ChunkPacker(const ChunkPacker&) = delete;
  ChunkPacker& operator=(const ChunkPacker&) = delete;

  void add(std::vector<std::byte> chunk);
  /// Chunks that were added and not given back.
  std::size_t size() const { return jobs_.size(); }
  /// The first of them; packs it here if nobody has begun to. There must be one. Throws std::bad_alloc.
  std::vector<std::byte> next();

 private:
  struct Job;
  class Threads;
  std::size_t element_bytes_;
  std::deque<std::shared_ptr<Job>> jobs_;
  std::unique_ptr<Threads> threads_;
};

}  // namespace firstedge
