// Stamps as NumPy structured arrays: one field a field of Stamp, in the order and with the names of the stamp
// table.
#pragma once

#include "firstedge/core/stamp.hpp"

#include "bindings.hpp"

#include <span>
#include <string>
#include <vector>

#include <pybind11/numpy.h>

namespace firstedge::python {

/// The element type; the fields stand where they stand in a Stamp.
py::dtype stamp_dtype();

/// Zeros in the bytes of each stamp that belong to no field, so that equal stamps are equal bytes.
void clear_padding(std::span<Stamp> stamps);

/// shape (stamps,), the vector's own memory, or a copy of a few.
py::array stamps_given_away(std::vector<Stamp> stamps);

/// The stamps of an array of stamp_dtype() and shape (stamps,), contiguous. Throws Error for any other.
std::span<const Stamp> stamps_of(const py::object& array);

}  // namespace firstedge::python
