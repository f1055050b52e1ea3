// A dataset of elements of fixed size, read by boxes, whatever stands in the file.
#pragma once

#include "firstedge/io/hdf5_filters.hpp"
#include "firstedge/io/hdf5_input.hpp"

#include <cstddef>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Reads raw elements, in the file's byte order, of a contiguous, compact or chunked dataset.
///
/// Refused when opened: virtual datasets and data in other files (nothing in a file makes us read another),
/// filters other than shuffle, deflate and checksum, elements of variable length, chunks above
/// most_chunk_bytes, and storage that is shorter than the dataset says. Decompression happens outside the
/// guard, by all threads, and within the chunk's own size. Decoded chunks are kept for the next reads_kept
/// reads, up to cache_bytes (or one, if it is larger), so that neighbouring boxes do not decode twice.
class Hdf5Array {
 public:
  static constexpr std::uint64_t most_chunk_bytes = std::uint64_t{1} << 30U;
  static constexpr std::uint64_t cache_bytes = std::uint64_t{64} << 20U;
  static constexpr std::uint64_t reads_kept = 4;

  /// Throws Error naming the file and the path.
  Hdf5Array(const Hdf5File& file, const std::string& path);
  ~Hdf5Array();
  Hdf5Array(const Hdf5Array&) = delete;
  Hdf5Array& operator=(const Hdf5Array&) = delete;

  const std::string& place() const { return place_; }
  const std::vector<std::uint64_t>& shape() const { return shape_; }  ///< {1} for a scalar
  std::uint64_t elements() const;
  std::size_t element_bytes() const { return element_bytes_; }
  /// Of the elements. Use it under the guard.
  const H5::DataType& type() const { return *type_; }
  /// Elements that one read should take along an axis, or a multiple: the chunk's; 1 if not chunked.
  std::uint64_t step(std::size_t axis) const { return chunk_.empty() ? 1 : chunk_[axis]; }

  /// Throws Error if `elements` of this dataset are more than the bytes in the file can stand for: a few
  /// bytes can declare a dataset of any size, and a reader would be busy with it for ever.
  void require_stored(std::uint64_t elements) const;

  struct Box {
    std::vector<std::uint64_t> start, count;  ///< one an axis; inside the shape (assert)
  };
  struct Damage {
    Box box;  ///< within the box that was asked for
    std::string problem;
  };
  struct Content {
    std::vector<std::byte> bytes;  ///< row-major; zeros where damaged
    std::vector<Damage> damage;
  };
  /// The caller limits the size of the box. Damage is told, not thrown.
  Content read(const Box& box);
  /// So far; a chunk that is not kept counts again.
  std::uint64_t chunks_decoded() const { return chunks_decoded_; }

 private:
  using Chunk = std::shared_ptr<const Unfiltered>;

  void refuse_what_is_elsewhere(const H5::DSetCreatPropList& properties) const;
  void take_shape();
  void take_chunks(const H5::DSetCreatPropList& properties);
  void refuse_short_storage() const;
  Content read_whole(const Box& box);
  /// A chunk as it stands in the file. Bit i of skipped: filter i was not applied to it.
  struct Stored {
    std::vector<std::byte> bytes;
    std::uint32_t skipped = 0;
    std::string problem;
  };
  std::vector<Chunk> chunks_at(std::span<const std::vector<std::uint64_t>> starts);
  struct Kept {
    Chunk chunk;
    std::uint64_t last_read = 0;
  };
  void keep(const std::vector<std::uint64_t>& start, const Chunk& chunk);
  void forget_old();
  Stored stored_at(const std::vector<std::uint64_t>& start) const;
  Unfiltered decoded(Stored stored, const std::vector<std::uint64_t>& start) const;
  std::uint64_t chunk_elements() const;

  std::string place_;
  std::uint64_t file_bytes_ = 0;
  std::optional<H5::DataSet> dataset_;
  std::optional<H5::DataType> type_;
  std::size_t element_bytes_ = 0;
  bool scalar_ = false;
  std::vector<std::uint64_t> shape_;
  std::vector<std::uint64_t> chunk_;  ///< its shape; empty if not chunked
  std::vector<ChunkFilter> filters_;
  bool partial_chunks_unfiltered_ = false;
  std::map<std::vector<std::uint64_t>, Kept> cache_;
  std::uint64_t cached_bytes_ = 0;
  std::uint64_t reads_ = 0, chunks_decoded_ = 0;
};

}  // namespace firstedge
