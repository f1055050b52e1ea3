// The header of a NumPy .npy file, read by a strict parser of our own: nothing in it is ever evaluated.
#pragma once

#include "firstedge/io/binary_samples.hpp"
#include "firstedge/io/byte_source.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace firstedge {

/// What a header says. The array's bytes start at data_offset.
struct NpyHeader {
  SampleCoding coding;
  bool fortran_order = false;
  std::vector<std::uint64_t> shape;
  std::uint64_t data_offset = 0;
};

/// Longest header text read. The text of an array of plain numbers has some 120 bytes; NumPy itself stops at
/// 10,000.
inline constexpr std::size_t most_npy_header_bytes = 10000;

/// True if the bytes start as every .npy file does.
bool starts_as_npy(std::span<const std::byte> head);

/// Reads the header. Format: NumPy Enhancement Proposal 1 and numpy.lib.format, versions 1.0, 2.0 and 3.0:
/// the magic string, two bytes of version, the length of the text (2 bytes, little endian; 4 from version 2.0
/// on), and the text, a Python dictionary with the keys 'descr', 'fortran_order' and 'shape'. Sample types:
/// i1 i2 i4 u1 u2 u4 f4 f8 of either byte order. Throws Error with the byte for anything else: other versions
/// and types (structured ones too), a text that is not ASCII or not exactly such a dictionary, a header that
/// reaches beyond the file.
NpyHeader read_npy_header(const ByteSource& source);

}  // namespace firstedge
