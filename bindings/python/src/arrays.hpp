// NumPy arrays made of vectors that are given away, without a copy, and filled from spans.
#pragma once

#include "bindings.hpp"

#include <algorithm>
#include <memory>
#include <span>
#include <utility>
#include <vector>

#include <pybind11/numpy.h>

namespace firstedge::python {

/// Keeps anything alive for as long as Python holds the capsule.
template <class Kept>
py::capsule keeper_of(Kept kept) {
  auto owned = std::make_unique<Kept>(std::move(kept));
  py::capsule capsule(owned.get(), [](void* pointer) { delete static_cast<Kept*>(pointer); });
  owned.release();
  return capsule;
}

/// shape (size,), the vector's own memory.
template <class Number>
py::array_t<Number> given_away(std::vector<Number> values) {
  const auto size = static_cast<py::ssize_t>(values.size());
  const Number* const data = values.data();  // the same after the vector has moved
  return py::array_t<Number>(size, data, keeper_of(std::move(values)));
}

/// shape (size,), copied.
template <class Number>
py::array_t<Number> copied(std::span<const Number> values) {
  py::array_t<Number> array(static_cast<py::ssize_t>(values.size()));
  std::copy(values.begin(), values.end(), array.mutable_data());
  return array;
}

/// The array may be read only.
inline void make_read_only(py::array& array) {
  py::detail::array_proxy(array.ptr())->flags &= ~py::detail::npy_api::NPY_ARRAY_WRITEABLE_;
}

}  // namespace firstedge::python
