#include "firstedge/io/hdf5_numbers.hpp"

#include <algorithm>
#include <bit>
#include <cassert>
#include <cstring>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Kind = NumberType::Kind;

bool is_real(const H5::DataType& type) {
  for (const H5::PredType* standard : {&H5::PredType::IEEE_F32LE, &H5::PredType::IEEE_F32BE,
                                       &H5::PredType::IEEE_F64LE, &H5::PredType::IEEE_F64BE}) {
    if (type == *standard) return true;
  }
  return false;
}

bool is_plain_integer(hid_t type) {
  const std::size_t bytes = H5Tget_size(type);
  return (bytes == 1 || bytes == 2 || bytes == 4 || bytes == 8) && H5Tget_precision(type) == 8 * bytes &&
         H5Tget_offset(type) == 0;
}

// call(Number{}) with the C++ type of the number.
template <class Call>
auto with_number(const NumberType& type, Call&& call) {
  if (type.kind == Kind::real) return type.bytes == 4 ? call(float{}) : call(double{});
  if (type.kind == Kind::signed_integer) {
    switch (type.bytes) {
      case 1:
        return call(std::int8_t{});
      case 2:
        return call(std::int16_t{});
      case 4:
        return call(std::int32_t{});
      default:
        return call(std::int64_t{});
    }
  }
  switch (type.bytes) {
    case 1:
      return call(std::uint8_t{});
    case 2:
      return call(std::uint16_t{});
    case 4:
      return call(std::uint32_t{});
    default:
      return call(std::uint64_t{});
  }
}

template <class To, class From>
std::vector<To> converted(std::span<const std::byte> numbers, const NumberType& type, From&& from) {
  return with_number(type, [&](auto zero) {
    std::vector<To> result(numbers.size() / sizeof zero);
    for (std::size_t i = 0; i < result.size(); ++i) {
      auto number = zero;
      std::memcpy(&number, numbers.data() + i * sizeof number, sizeof number);
      result[i] = from(number);
    }
    return result;
  });
}

}  // namespace

std::optional<NumberType> number_type(const H5::DataType& type) {
  const H5T_class_t kind = type.getClass();
  const H5T_order_t order = H5Tget_order(type.getId());
  if (kind == H5T_INTEGER && is_plain_integer(type.getId())) {
    const bool is_signed = H5Tget_sign(type.getId()) == H5T_SGN_2;
    return NumberType{.kind = is_signed ? Kind::signed_integer : Kind::unsigned_integer,
                      .bytes = type.getSize(),
                      .big_endian = order == H5T_ORDER_BE};
  }
  if (kind == H5T_FLOAT && is_real(type)) {
    return NumberType{.kind = Kind::real, .bytes = type.getSize(), .big_endian = order == H5T_ORDER_BE};
  }
  return std::nullopt;
}

std::string name_of_type(const H5::DataType& type) {
  const std::size_t bits = 8 * type.getSize();
  switch (type.getClass()) {
    case H5T_INTEGER:
      return fmt::format("integers of {} bits in {}", H5Tget_precision(type.getId()), bits);
    case H5T_FLOAT:
      return fmt::format("floating-point numbers of {} bits", bits);
    case H5T_STRING:
      return "text";
    case H5T_COMPOUND:
      return "a compound";
    case H5T_ENUM:
      return "an enumeration";
    case H5T_OPAQUE:
      return "opaque bytes";
    case H5T_BITFIELD:
      return "bit fields";
    case H5T_REFERENCE:
      return "references";
    case H5T_VLEN:
      return "lists of variable length";
    case H5T_ARRAY:
      return "arrays in an array";
    default:
      return "an unknown type";
  }
}

void to_native_order(std::span<std::byte> numbers, const NumberType& type) {
  if (type.big_endian == (std::endian::native == std::endian::big)) return;
  for (std::size_t i = 0; i + type.bytes <= numbers.size(); i += type.bytes) {
    const auto one = numbers.subspan(i, type.bytes);
    std::reverse(one.begin(), one.end());
  }
}

std::vector<double> as_doubles(std::span<const std::byte> numbers, const NumberType& type) {
  return converted<double>(numbers, type, [](auto number) { return static_cast<double>(number); });
}

std::vector<std::int64_t> as_integers(std::span<const std::byte> numbers, const NumberType& type) {
  assert(type.kind != Kind::real);
  return converted<std::int64_t>(numbers, type, [](auto number) {
    constexpr auto largest = std::numeric_limits<std::int64_t>::max();
    if constexpr (std::is_same_v<decltype(number), std::uint64_t>) {
      return number > static_cast<std::uint64_t>(largest) ? largest : static_cast<std::int64_t>(number);
    } else {
      return static_cast<std::int64_t>(number);
    }
  });
}

}  // namespace firstedge
