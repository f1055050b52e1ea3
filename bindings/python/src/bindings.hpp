// The subjects of the extension module firstedge._core, one file each.
#pragma once

#include <pybind11/pybind11.h>

namespace firstedge::python {

namespace py = pybind11;

void bind_errors(py::module_& module);
void bind_instants(py::module_& module);
void bind_results(py::module_& module);
void bind_setups(py::module_& module);
void bind_traces(py::module_& module);
void bind_records(py::module_& module);
void bind_conditioning(py::module_& module);
void bind_channels(py::module_& module);
void bind_stamps(py::module_& module);
void bind_runs(py::module_& module);
void bind_analyses(py::module_& module);
void bind_clocks(py::module_& module);
void bind_simulations(py::module_& module);
void bind_browsing(py::module_& module);

/// For the types that calls on one trace take and give: pybind11 looks among this module's own first, and
/// each look costs some 50 ns.
inline constexpr py::module_local found_soon{};

/// Work that needs no Python: other threads of the interpreter run meanwhile.
template <class Work>
auto without_lock(Work&& work) {
  const py::gil_scoped_release released;
  return work();
}

}  // namespace firstedge::python
