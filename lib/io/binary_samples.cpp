#include "firstedge/io/binary_samples.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cstring>
#include <limits>
#include <type_traits>

namespace firstedge {
namespace {

struct TypeWords {
  SampleType type;
  std::string_view word;
  std::size_t bytes;
  double least, greatest;
};

template <class T>
constexpr TypeWords words_of(SampleType type, std::string_view word) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  if (std::is_floating_point_v<T>) return {type, word, sizeof(T), -infinity, infinity};
  return {type, word, sizeof(T), static_cast<double>(std::numeric_limits<T>::lowest()),
          static_cast<double>(std::numeric_limits<T>::max())};
}

constexpr std::array<TypeWords, 8> type_table{
    {words_of<std::int8_t>(SampleType::int8, "int8"), words_of<std::uint8_t>(SampleType::uint8, "uint8"),
     words_of<std::int16_t>(SampleType::int16, "int16"),
     words_of<std::uint16_t>(SampleType::uint16, "uint16"),
     words_of<std::int32_t>(SampleType::int32, "int32"),
     words_of<std::uint32_t>(SampleType::uint32, "uint32"), words_of<float>(SampleType::float32, "float32"),
     words_of<double>(SampleType::float64, "float64")}};

const TypeWords& row_of(SampleType type) {
  return type_table.at(static_cast<std::size_t>(type));
}

template <class Stored>
Stored read_sample(const std::byte* from, bool swap) {
  std::array<std::byte, sizeof(Stored)> bytes;
  std::memcpy(bytes.data(), from, sizeof(Stored));
  if (swap) std::reverse(bytes.begin(), bytes.end());
  return std::bit_cast<Stored>(bytes);
}

template <class Stored, class Kept = Stored>
DecodedSamples decode_as(std::span<const std::byte> bytes, bool swap, const SampleGrid& grid) {
  auto storage = std::make_shared<std::vector<Kept>>(grid.records * grid.channels * grid.samples);
  DecodedSamples decoded;
  decoded.rows.reserve(grid.records * grid.channels);
  Kept* to = storage->data();
  for (std::size_t record = 0; record < grid.records; ++record) {
    for (std::size_t channel = 0; channel < grid.channels; ++channel) {
      const std::byte* from =
          bytes.data() + grid.first + record * grid.record_stride + channel * grid.channel_stride;
      decoded.rows.emplace_back(std::span<const Kept>(to, grid.samples));
      if (std::is_same_v<Stored, Kept> && !swap && grid.sample_stride == sizeof(Stored)) {
        std::memcpy(to, from, grid.samples * sizeof(Stored));
        to += grid.samples;
        continue;
      }
      for (std::size_t sample = 0; sample < grid.samples; ++sample, ++to, from += grid.sample_stride) {
        *to = static_cast<Kept>(read_sample<Stored>(from, swap));
      }
    }
  }
  decoded.storage = std::move(storage);
  return decoded;
}

// Rows that look into the bytes themselves, in the machine's byte order and aligned.
template <class Stored>
DecodedSamples adopted_as(std::shared_ptr<const std::vector<std::byte>> bytes, const SampleGrid& grid) {
  DecodedSamples decoded;
  decoded.rows.reserve(grid.records * grid.channels);
  for (std::size_t record = 0; record < grid.records; ++record) {
    for (std::size_t channel = 0; channel < grid.channels; ++channel) {
      const std::byte* from =
          bytes->data() + grid.first + record * grid.record_stride + channel * grid.channel_stride;
      decoded.rows.emplace_back(std::span<const Stored>(reinterpret_cast<const Stored*>(from), grid.samples));
    }
  }
  decoded.storage = std::move(bytes);
  return decoded;
}

// Memory of a vector is aligned for every number; what is left is where the rows begin in it.
bool can_be_adopted(const SampleCoding& coding, const SampleGrid& grid) {
  const std::size_t size = bytes_of(coding.type);
  return coding.type != SampleType::uint32 &&
         coding.big_endian == (std::endian::native == std::endian::big) && grid.sample_stride == size &&
         grid.first % size == 0 && grid.record_stride % size == 0 && grid.channel_stride % size == 0;
}

[[maybe_unused]] bool lies_inside(const SampleGrid& grid, std::size_t sample_bytes, std::size_t size) {
  if (grid.records == 0 || grid.channels == 0 || grid.samples == 0) return true;
  return grid.first + (grid.records - 1) * grid.record_stride + (grid.channels - 1) * grid.channel_stride +
             (grid.samples - 1) * grid.sample_stride + sample_bytes <=
         size;
}

}  // namespace

std::string_view to_text(SampleType type) {
  return row_of(type).word;
}
std::size_t bytes_of(SampleType type) {
  return row_of(type).bytes;
}
bool is_floating(SampleType type) {
  return type == SampleType::float32 || type == SampleType::float64;
}
double least_of(SampleType type) {
  return row_of(type).least;
}
double greatest_of(SampleType type) {
  return row_of(type).greatest;
}

std::optional<SampleType> sample_type_of(std::string_view word) {
  for (const TypeWords& row : type_table) {
    if (row.word == word) return row.type;
  }
  return std::nullopt;
}

DecodedSamples decode_samples(std::span<const std::byte> bytes, const SampleCoding& coding,
                              const SampleGrid& grid) {
  assert(lies_inside(grid, bytes_of(coding.type), bytes.size()));
  const bool swap = coding.big_endian != (std::endian::native == std::endian::big);
  switch (coding.type) {
    case SampleType::int8:
      return decode_as<std::int8_t>(bytes, swap, grid);
    case SampleType::uint8:
      return decode_as<std::uint8_t>(bytes, swap, grid);
    case SampleType::int16:
      return decode_as<std::int16_t>(bytes, swap, grid);
    case SampleType::uint16:
      return decode_as<std::uint16_t>(bytes, swap, grid);
    case SampleType::int32:
      return decode_as<std::int32_t>(bytes, swap, grid);
    case SampleType::uint32:
      return decode_as<std::uint32_t, double>(bytes, swap, grid);
    case SampleType::float32:
      return decode_as<float>(bytes, swap, grid);
    case SampleType::float64:
      return decode_as<double>(bytes, swap, grid);
  }
  return {};
}

DecodedSamples decode_samples(std::vector<std::byte>&& bytes, const SampleCoding& coding,
                              const SampleGrid& grid) {
  assert(lies_inside(grid, bytes_of(coding.type), bytes.size()));
  if (!can_be_adopted(coding, grid)) return decode_samples(std::span<const std::byte>(bytes), coding, grid);
  auto kept = std::make_shared<const std::vector<std::byte>>(std::move(bytes));
  switch (coding.type) {
    case SampleType::int8:
      return adopted_as<std::int8_t>(std::move(kept), grid);
    case SampleType::uint8:
      return adopted_as<std::uint8_t>(std::move(kept), grid);
    case SampleType::int16:
      return adopted_as<std::int16_t>(std::move(kept), grid);
    case SampleType::uint16:
      return adopted_as<std::uint16_t>(std::move(kept), grid);
    case SampleType::int32:
      return adopted_as<std::int32_t>(std::move(kept), grid);
    case SampleType::float32:
      return adopted_as<float>(std::move(kept), grid);
    case SampleType::float64:
      return adopted_as<double>(std::move(kept), grid);
    case SampleType::uint32:
      break;
  }
  return {};
}

}  // namespace firstedge
