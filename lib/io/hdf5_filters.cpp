#include "firstedge/io/hdf5_filters.hpp"

#include "firstedge/core/vector_clones.hpp"

#include <algorithm>
#include <memory>
#include <new>
#include <utility>

#include <fmt/format.h>
#include <libdeflate.h>

namespace firstedge {
namespace {

constexpr std::size_t checksum_bytes = 4;

// Elements of so many bytes put together from their planes; the loop that most data go through.
template <std::size_t element_bytes>
FIRSTEDGE_VECTOR_CLONES void join_planes(const std::byte* planes, std::size_t elements,
                                         std::byte* __restrict to) {
  for (std::size_t i = 0; i < elements; ++i)
    for (std::size_t plane = 0; plane < element_bytes; ++plane)
      to[i * element_bytes + plane] = planes[plane * elements + i];
}

std::vector<std::byte> unshuffled(std::span<const std::byte> bytes, std::size_t element_bytes) {
  std::vector<std::byte> result(bytes.size());
  const std::size_t elements = bytes.size() / element_bytes;
  if (element_bytes == 2) {
    join_planes<2>(bytes.data(), elements, result.data());
  } else if (element_bytes == 4) {
    join_planes<4>(bytes.data(), elements, result.data());
  } else {
    for (std::size_t plane = 0; plane < element_bytes; ++plane) {
      const std::byte* from = bytes.data() + plane * elements;
      std::byte* to = result.data() + plane;
      for (std::size_t i = 0; i < elements; ++i) to[i * element_bytes] = from[i];
    }
  }
  const auto rest = static_cast<std::ptrdiff_t>(elements * element_bytes);
  std::copy(bytes.begin() + rest, bytes.end(), result.begin() + rest);
  return result;
}

Unfiltered inflated(const std::vector<std::byte>& stored, std::size_t size) {
  if (size / largest_expansion > stored.size()) {
    return {{}, "is damaged (too short for what it should hold)"};
  }
  Unfiltered result{std::vector<std::byte>(size), ""};
  const std::unique_ptr<libdeflate_decompressor, decltype(&libdeflate_free_decompressor)> decompressor(
      libdeflate_alloc_decompressor(), &libdeflate_free_decompressor);
  if (!decompressor) throw std::bad_alloc();
  const libdeflate_result status = libdeflate_zlib_decompress(
      decompressor.get(), stored.data(), stored.size(), result.bytes.data(), size, nullptr);
  if (status != LIBDEFLATE_SUCCESS) return {{}, "is damaged (its compressed data are wrong)"};
  return result;
}

Unfiltered without_checksum(std::vector<std::byte> stored) {
  if (stored.size() < checksum_bytes) return {{}, "is damaged (too short for its checksum)"};
  const std::size_t size = stored.size() - checksum_bytes;
  std::uint32_t told = 0;
  for (std::size_t i = 0; i < checksum_bytes; ++i)
    told |= std::to_integer<std::uint32_t>(stored[size + i]) << (8 * i);
  stored.resize(size);
  if (fletcher32(stored) != told) return {{}, "is damaged (its checksum differs)"};
  return {std::move(stored), ""};
}

// The number of bytes before filter i was applied, when the whole chunk has `size`.
std::size_t size_before(std::size_t i, std::span<const ChunkFilter> filters, std::uint32_t skipped,
                        std::size_t size) {
  for (std::size_t before = 0; before < i; ++before) {
    if (filters[before] == ChunkFilter::checksum && (skipped >> before & 1U) == 0) size += checksum_bytes;
  }
  return size;
}

}  // namespace

std::vector<ChunkFilter> chunk_filters(const H5::DSetCreatPropList& properties, const std::string& place) {
  std::vector<ChunkFilter> filters;
  const int count = properties.getNfilters();
  for (int i = 0; i < count; ++i) {
    unsigned flags = 0, configuration = 0;
    std::size_t values = 0;
    const H5Z_filter_t filter = H5Pget_filter2(properties.getId(), static_cast<unsigned>(i), &flags, &values,
                                               nullptr, 0, nullptr, &configuration);
    ChunkFilter known = ChunkFilter::shuffle;
    if (filter == H5Z_FILTER_DEFLATE) {
      known = ChunkFilter::deflate;
    } else if (filter == H5Z_FILTER_FLETCHER32) {
      known = ChunkFilter::checksum;
    } else if (filter != H5Z_FILTER_SHUFFLE) {
      throw Error(place, fmt::format("is packed with HDF5 filter {}, which is not read here", filter),
                  "repack it with 'h5repack -f GZIP=4'");
    }
    if (std::find(filters.begin(), filters.end(), known) != filters.end()) {
      throw Error(place, "has the same HDF5 filter twice", "repack it with 'h5repack -f GZIP=4'");
    }
    filters.push_back(known);
  }
  return filters;
}

Unfiltered unfiltered(std::vector<std::byte> stored, std::span<const ChunkFilter> filters,
                      std::uint32_t skipped, std::size_t element_bytes, std::size_t size) {
  Unfiltered result{std::move(stored), ""};
  for (std::size_t i = filters.size(); i-- > 0;) {
    if ((skipped >> i & 1U) != 0) continue;
    switch (filters[i]) {
      case ChunkFilter::shuffle:
        result.bytes = unshuffled(result.bytes, element_bytes);
        break;
      case ChunkFilter::deflate:
        result = inflated(result.bytes, size_before(i, filters, skipped, size));
        break;
      case ChunkFilter::checksum:
        result = without_checksum(std::move(result.bytes));
        break;
    }
    if (!result.problem.empty()) return result;
  }
  if (result.bytes.size() != size) {
    return {{}, fmt::format("is damaged ({} bytes in place of {})", result.bytes.size(), size)};
  }
  return result;
}

std::uint32_t fletcher32(std::span<const std::byte> bytes) {
  // Sums of ones' complement: carries are added back, so that a sum is 0 only if all words are.
  const auto folded = [](std::uint32_t sum) { return (sum & 0xffffU) + (sum >> 16U); };
  std::uint32_t first = 0, second = 0;
  for (std::size_t i = 0; i < bytes.size(); i += 2) {
    const auto high = std::to_integer<std::uint32_t>(bytes[i]);
    const auto low = i + 1 < bytes.size() ? std::to_integer<std::uint32_t>(bytes[i + 1]) : 0U;
    first = folded(first + (high << 8U | low));
    second = folded(second + first);
  }
  return second << 16U | first;
}

}  // namespace firstedge
