// The rows of stamp tables and template files: packed compound types and their bytes. For the files of lib/io
// alone; call what makes types under Hdf5Guard.
#pragma once

#include "firstedge/core/stamp.hpp"
#include "firstedge/io/hdf5_input.hpp"
#include "firstedge/io/hdf5_output.hpp"
#include "firstedge/io/stamp_fields.hpp"

#include <cstring>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

namespace firstedge {

template <class Number>
H5::PredType type_of_number() {
  if constexpr (std::is_same_v<Number, double>) return H5::PredType::NATIVE_DOUBLE;
  if constexpr (std::is_same_v<Number, std::uint64_t>) return H5::PredType::NATIVE_UINT64;
  if constexpr (std::is_same_v<Number, std::int64_t>) return H5::PredType::NATIVE_INT64;
  if constexpr (std::is_same_v<Number, std::uint32_t>) return H5::PredType::NATIVE_UINT32;
  if constexpr (std::is_same_v<Number, std::uint16_t>) return H5::PredType::NATIVE_UINT16;
  if constexpr (std::is_same_v<Number, std::int16_t>) return H5::PredType::NATIVE_INT16;
  if constexpr (std::is_same_v<Number, std::uint8_t>) return H5::PredType::NATIVE_UINT8;
}

template <class Number>
using StampField = std::remove_cvref_t<decltype(std::declval<Stamp&>().*std::declval<Number>())>;

// A compound type without gaps, member after member.
class PackedType {
 public:
  template <class Number>
  void add_number(const std::string& name) {
    add(name, type_of_number<Number>());
  }
  void add_text(const std::string& name, std::size_t bytes) { add(name, text_type(bytes)); }
  H5::CompType type() const {
    H5::CompType compound(bytes_);
    std::size_t at = 0;
    for (const auto& [name, member] : members_) {
      compound.insertMember(name, at, member);
      at += member.getSize();
    }
    return compound;
  }

 private:
  void add(const std::string& name, const H5::DataType& type) {
    bytes_ += type.getSize();
    members_.emplace_back(name, type);
  }
  std::vector<std::pair<std::string, H5::DataType>> members_;
  std::size_t bytes_ = 0;
};

// Rows of such a type, written and read number by number.
class RowBytes {
 public:
  template <class Number>
  void add(const Number& number) {
    const auto bytes = bytes_of(number);
    bytes_.insert(bytes_.end(), bytes.begin(), bytes.end());
  }
  void add_text(const std::string& text, std::size_t size) {
    const auto bytes = std::as_bytes(std::span(text));
    bytes_.insert(bytes_.end(), bytes.begin(), bytes.end());
    bytes_.resize(bytes_.size() + size - text.size());
  }
  const std::vector<std::byte>& bytes() const { return bytes_; }

 private:
  std::vector<std::byte> bytes_;
};

class RowReader {
 public:
  explicit RowReader(const std::vector<std::byte>& bytes) : next_(bytes.data()) {}
  template <class Number>
  Number number() {
    Number value{};
    std::memcpy(&value, next_, sizeof value);
    next_ += sizeof value;
    return value;
  }
  std::string text(std::size_t size) {
    std::string value = unpadded(reinterpret_cast<const char*>(next_), size, H5T_STR_NULLPAD);
    next_ += size;
    return value;
  }

 private:
  const std::byte* next_;
};

/// The row types of the layout "firstedge stamp table 1" (docs/file-layouts.md).
H5::CompType stamp_type();
H5::CompType trigger_type();
H5::CompType channel_type(std::size_t name_bytes, std::size_t sensor_bytes);
H5::CompType method_type(std::size_t name_bytes, std::size_t settings_bytes);

namespace stamp_layout {
inline constexpr const char* name = "firstedge stamp table 1";
inline constexpr std::uint64_t rows_in_chunk = 8192;
inline constexpr std::size_t longest_word = std::size_t{1} << 16U;  // of a channel's or method's texts
inline constexpr std::uint64_t most_rows_of_words = 65536;  // channels and methods are numbered in 16 bits
}  // namespace stamp_layout

}  // namespace firstedge
