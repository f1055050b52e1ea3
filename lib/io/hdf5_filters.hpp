// The filters of HDF5's chunks undone by ourselves, so that a small damaged or hostile chunk cannot grow
// without limit in memory.
#pragma once

#include "firstedge/io/hdf5_guard.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// HDF5's own filters that cost no accuracy: byte shuffle, deflate (zlib, RFC 1950), Fletcher's checksum.
enum class ChunkFilter : std::uint8_t { shuffle, deflate, checksum };

/// A dataset's filters in the order in which they were applied. Throws Error for every other filter, for two
/// of a kind, and names the tool that takes them away. Call under the guard.
std::vector<ChunkFilter> chunk_filters(const H5::DSetCreatPropList& properties, const std::string& place);

/// deflate expands at most 1032:1 (zlib's technical notes); rounded up for the header and trailer.
inline constexpr std::uint64_t largest_expansion = 1040;

struct Unfiltered {
  std::vector<std::byte> bytes;
  std::string problem;  ///< empty if the chunk is good: "is damaged (its checksum differs)"
};

/// The chunk's bytes, `size` of them; anything that gives another number is a problem. Bit i of `skipped`
/// says that filter i was not applied to this chunk. Memory: at most twice `size`, and never more than
/// largest_expansion times stored.size().
Unfiltered unfiltered(std::vector<std::byte> stored, std::span<const ChunkFilter> filters,
                      std::uint32_t skipped, std::size_t element_bytes, std::size_t size);

/// Fletcher's checksum over big-endian 16-bit words with 32-bit result, as HDF5 stores it (File Format
/// Specification 3.0, IV.A.2.l, "Fletcher32"; Fletcher, IEEE Trans. Comm. 30 (1982) 247).
std::uint32_t fletcher32(std::span<const std::byte> bytes);

}  // namespace firstedge
