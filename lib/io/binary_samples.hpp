// Samples as they stand in a binary file: their type and byte order, where they lie, and how they become
// Counts.
#pragma once

#include "firstedge/core/trace.hpp"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace firstedge {

enum class SampleType : std::uint8_t { int8, uint8, int16, uint16, int32, uint32, float32, float64 };

/// "int8", "uint8", ... "float64": the words of layouts.
std::string_view to_text(SampleType type);
std::optional<SampleType> sample_type_of(std::string_view word);
std::size_t bytes_of(SampleType type);
bool is_floating(SampleType type);
/// The least and the greatest number of a whole-number type; infinite for float32 and float64.
double least_of(SampleType type);
double greatest_of(SampleType type);

/// How one sample is written.
struct SampleCoding {
  SampleType type = SampleType::int16;
  bool big_endian = false;
};

/// Where samples lie in a piece of a file: sample s of channel c of record r starts at byte
/// first + r * record_stride + c * channel_stride + s * sample_stride.
struct SampleGrid {
  std::size_t records = 0, channels = 0, samples = 0;
  std::size_t first = 0;
  std::size_t record_stride = 0, channel_stride = 0, sample_stride = 0;  ///< bytes
};

/// Samples in the machine's own byte order, one row a record and channel (channels of a record next to each
/// other), and the memory that the rows look into.
struct DecodedSamples {
  std::shared_ptr<const void> storage;
  std::vector<Counts> rows;
};

/// Copies the samples of a grid. Counts are byte-exact; uint32, which Counts do not have, become the equal
/// double. The whole grid must lie inside bytes (assert).
DecodedSamples decode_samples(std::span<const std::byte> bytes, const SampleCoding& coding,
                              const SampleGrid& grid);

/// The same of bytes that may be kept: samples that stand as they are needed are not copied.
DecodedSamples decode_samples(std::vector<std::byte>&& bytes, const SampleCoding& coding,
                              const SampleGrid& grid);

}  // namespace firstedge
