// Numbers as they stand in an HDF5 file, and how they become ours without HDF5's own conversions.
#pragma once

#include "firstedge/io/hdf5_guard.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// A plain integer of 1, 2, 4 or 8 bytes that uses all its bits, or an IEEE 754 number of 4 or 8 bytes.
struct NumberType {
  enum class Kind : std::uint8_t { signed_integer, unsigned_integer, real };
  Kind kind = Kind::real;
  std::size_t bytes = 8;
  bool big_endian = false;

  friend bool operator==(const NumberType&, const NumberType&) = default;
};

/// Nothing for every other type. Call under the guard.
std::optional<NumberType> number_type(const H5::DataType& type);

/// For error sentences: "text", "a compound", "an integer of 12 bits in 16", ...
std::string name_of_type(const H5::DataType& type);

/// The numbers in the byte order of this machine, in place; span.size() is a multiple of type.bytes.
void to_native_order(std::span<std::byte> numbers, const NumberType& type);

/// Numbers in native order as double; integers beyond 2^53 round.
std::vector<double> as_doubles(std::span<const std::byte> numbers, const NumberType& type);

/// Whole numbers in native order. Type must be an integer (assert); an unsigned number beyond the range of
/// the result becomes its largest value.
std::vector<std::int64_t> as_integers(std::span<const std::byte> numbers, const NumberType& type);

}  // namespace firstedge
