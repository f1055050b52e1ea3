// Results of analyses: as JSON (which the package makes dicts of), text and a page.
#include "firstedge/core/result.hpp"
#include "firstedge/io/file_pattern.hpp"
#include "firstedge/io/input_digests.hpp"
#include "firstedge/report/report.hpp"

#include "bindings.hpp"

#include <algorithm>

#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

Provenance provenance_of(const std::string& program, const std::string& command,
                         const std::vector<std::filesystem::path>& files, const std::string& setup) {
  return without_lock([&] {
    return Provenance{.program = program,
                      .version = FIRSTEDGE_VERSION,
                      .command = command,
                      .inputs = files.empty() ? std::vector<Provenance::Input>{} : input_digests(files),
                      .setup = setup,
                      .options = {}};
  });
}

Result with_provenance(Result result, const Provenance& provenance) {
  result.provenance = provenance;
  return result;
}

}  // namespace

void bind_results(py::module_& module) {
  py::class_<Provenance>(module, "Provenance",
                         "What made a result: program, version, call, inputs with their digests, Setup.")
      .def(py::init(&provenance_of), py::arg("program"), py::arg("command"), py::arg("files"),
           py::arg("setup"));
  py::class_<Result>(module, "Result", "The outcome of an analysis; see firstedge.Result.")
      .def("json", py::overload_cast<const Result&>(&to_json))
      .def("text", py::overload_cast<const Result&>(&to_text))
      .def("page", py::overload_cast<const Result&>(&to_page))
      .def("with_provenance", &with_provenance, py::arg("provenance"));
  module.def("write_whole", &write_whole, py::arg("file"), py::arg("text"),
             "Writes a text whole or not at all.");
  module.def(
      "in_natural_order",
      [](std::vector<std::string> names) {
        std::stable_sort(names.begin(), names.end(), naturally_before);
        return names;
      },
      py::arg("names"), "File names as people count: run_2 before run_10.");
}

}  // namespace firstedge::python
