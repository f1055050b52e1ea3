#include "stamp_array.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/stamp_fields.hpp"

#include "arrays.hpp"

#include <cstddef>
#include <cstring>
#include <type_traits>

namespace firstedge::python {
namespace {

static_assert(std::is_trivially_copyable_v<Stamp> && std::is_standard_layout_v<Stamp>);

template <class Field>
py::ssize_t offset_of(const Stamp& stamp, const Field& field) {
  return reinterpret_cast<const char*>(&field) - reinterpret_cast<const char*>(&stamp);
}

py::dtype made_dtype() {
  const Stamp stamp;
  py::list names, formats, offsets;
  for_each_stamp_number([&](const char* name, auto member) {
    using Number = std::remove_cvref_t<decltype(stamp.*member)>;
    names.append(name);
    formats.append(py::dtype::of<Number>());
    offsets.append(offset_of(stamp, stamp.*member));
  });
  static_assert(sizeof(FlagSet) == sizeof(std::uint32_t));
  names.append(stamp_flags_name);
  formats.append(py::dtype::of<std::uint32_t>());
  offsets.append(offset_of(stamp, stamp.flags));
  return {names, formats, offsets, static_cast<py::ssize_t>(sizeof(Stamp))};
}

}  // namespace

py::dtype stamp_dtype() {
  // Lives as long as the interpreter: arrays refer to it until the very end.
  static const py::handle dtype = made_dtype().release();
  return py::reinterpret_borrow<py::dtype>(dtype);
}

void clear_padding(std::span<Stamp> stamps) {
  // The fields stand in order of size where that matters: padding is behind the last one alone.
  constexpr std::size_t end = offsetof(Stamp, flags) + sizeof(FlagSet);
  static_assert(offsetof(Stamp, flags) ==
                sizeof(std::uint64_t) + 4 * sizeof(std::uint16_t) + 10 * sizeof(double));
  for (Stamp& stamp : stamps) std::memset(reinterpret_cast<char*>(&stamp) + end, 0, sizeof(Stamp) - end);
}

py::array stamps_given_away(std::vector<Stamp> stamps) {
  clear_padding(stamps);
  const auto size = static_cast<py::ssize_t>(stamps.size());
  // Few stamps are copied sooner than Python is told whose memory they are.
  constexpr py::ssize_t few = 32;
  if (size <= few) {
    py::array copy(stamp_dtype(), std::vector<py::ssize_t>{size});
    if (size > 0) std::memcpy(copy.mutable_data(), stamps.data(), stamps.size() * sizeof(Stamp));
    return copy;
  }
  const Stamp* const data = stamps.data();  // the same after the vector has moved
  return py::array(stamp_dtype(), {size}, {static_cast<py::ssize_t>(sizeof(Stamp))}, data,
                   keeper_of(std::move(stamps)));
}

std::span<const Stamp> stamps_of(const py::object& object) {
  if (!py::isinstance<py::array>(object))
    throw Error("stamps", "is no NumPy array", "give an array of firstedge.STAMP");
  const auto array = py::reinterpret_borrow<py::array>(object);
  const bool contiguous = (array.flags() & py::array::c_style) != 0;
  if (!array.dtype().equal(stamp_dtype()) || array.ndim() != 1 || !contiguous)
    throw Error("stamps", "is not a contiguous array of stamps of shape (stamps,)",
                "make it with numpy.ascontiguousarray(..., dtype=firstedge.STAMP)");
  return {reinterpret_cast<const Stamp*>(array.data()), static_cast<std::size_t>(array.size())};
}

}  // namespace firstedge::python
