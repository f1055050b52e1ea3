// firstedge::Error as the Python exception firstedge.Error, with the same sentence and its parts.
#include "firstedge/core/error.hpp"

#include "bindings.hpp"
#include "texts.hpp"

#include <exception>

namespace firstedge::python {

void bind_errors(py::module_& module) {
  module.attr("Error") = py::module_::import("firstedge.errors").attr("Error");
  py::register_exception_translator([](std::exception_ptr thrown) {
    try {
      if (thrown) std::rethrow_exception(thrown);
    } catch (const Error& error) {
      const py::object kind = py::module_::import("firstedge.errors").attr("Error");
      PyErr_SetObject(kind.ptr(), kind(readable(error.place()), readable(error.problem()),
                                       readable(error.remedy()), readable(error.what()))
                                      .ptr());
    }
  });
}

}  // namespace firstedge::python
