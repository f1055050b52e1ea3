// The Setup, from a file, a text or the defaults.
#include "firstedge/io/setup.hpp"

#include "bindings.hpp"

#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {

void bind_setups(py::module_& module) {
  py::class_<Setup>(module, "Setup", R"(The description of a bench or a station (docs/setup.md).

Setup.read(file) takes a JSON file, Setup.parse(text) its text, Setup() the defaults. Raises Error with the place for
what is not a Setup. Wherever a function takes a setup, a path or a dict does as well.)")
      .def(py::init(&default_setup))
      .def_static("read", &read_setup, py::arg("file"), "From a JSON file (docs/setup.md).")
      .def_static("parse", &parse_setup, py::arg("text"), py::arg("place") = "setup",
                  "From a JSON text; place names it in errors.")
      .def_readonly("title", &Setup::title, "What the bench is called.")
      .def_readonly("text", &Setup::text, "The JSON text it was read from; '' for the defaults.")
      .def_property_readonly(
          "channels",
          [](const Setup& setup) {
            std::vector<std::string> names;
            for (const ChannelSetup& channel : setup.channels) names.push_back(channel.name);
            return names;
          },
          "Names of the channels it lists.");
}

}  // namespace firstedge::python
