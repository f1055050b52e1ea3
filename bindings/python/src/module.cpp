// firstedge._core: the library as Python sees it. The package around it (bindings/python/firstedge) adds
// names and defaults; all numbers come from here.
#include "bindings.hpp"

PYBIND11_MODULE(_core, module) {
  using namespace firstedge::python;
  module.doc() = "The Firstedge library. Use the package firstedge, which is made of it.";
  module.attr("__version__") = FIRSTEDGE_VERSION;
  bind_errors(module);
  bind_instants(module);
  bind_results(module);
  bind_setups(module);
  bind_traces(module);
  bind_records(module);
  bind_conditioning(module);
  bind_stamps(module);
  bind_channels(module);
  bind_runs(module);
  bind_analyses(module);
  bind_clocks(module);
  bind_simulations(module);
  bind_browsing(module);
}
