// Simulated runs: as arrays with their truth, or written into files.
#include "firstedge/batch/run_simulation.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/json_settings.hpp"
#include "firstedge/simulate/description.hpp"

#include "interruptible.hpp"
#include "records.hpp"
#include "stamp_array.hpp"
#include "stamps.hpp"

#include <algorithm>
#include <optional>

#include <fmt/format.h>
#include <pybind11/functional.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

/// What one call may make in memory; longer runs are written into a file.
constexpr std::uint64_t most_samples_in_memory = std::uint64_t{1} << 30U;

std::unique_ptr<Simulation> planned(SimulationPlan plan, std::optional<std::uint64_t> records,
                                    std::optional<std::uint64_t> seed) {
  if (records == std::uint64_t{0}) throw Error("records", "is 0", "give at least 1");
  if (records) plan.records = *records;
  if (seed) plan.seed = *seed;
  return without_lock([&] { return std::make_unique<Simulation>(plan); });
}

std::pair<Block, StampTable> made(const Simulation& simulation, std::uint64_t first, std::uint64_t count,
                                  const Provenance& provenance) {
  const SimulationPlan& plan = simulation.plan();
  if (first >= plan.records)
    throw Error("first", fmt::format("{} is beyond the {} records", first, plan.records), "give one below");
  const std::uint64_t records = std::min(count, plan.records - first);
  const std::uint64_t most = most_samples_in_memory / plan.channels.size() / plan.samples;
  if (records > most)
    throw Error("records", fmt::format("{} do not fit into memory", records),
                fmt::format("take {} at a time, or write the run into a file with simulate_run", most));
  return without_lock([&] {
    SimulatedBlock block = simulation.records(first, static_cast<std::size_t>(records));
    StampTable truth{.head = truth_head(plan, provenance), .stamps = std::move(block.truth), .triggers = {}};
    clear_padding(truth.stamps);
    for (const Record& record : block.block.records)
      if (record.trigger) truth.triggers.push_back({record.index, *record.trigger});
    ChannelNames names;
    for (const ChannelPlan& channel : plan.channels) names.push_back(channel.name);
    return std::pair{Block{.block = std::move(block.block),
                           .channels = std::make_shared<const ChannelNames>(std::move(names))},
                     std::move(truth)};
  });
}

Provenance with_seed(Provenance provenance, const Simulation& simulation) {
  provenance.options["seed"] = fmt::format("{}", simulation.plan().seed);
  return provenance;
}

void write(const Simulation& simulation, const std::filesystem::path& records,
           const std::optional<std::filesystem::path>& truth, int deflate_level, const Provenance& provenance,
           const py::object& told) {
  if (deflate_level < 0 || deflate_level > 9)
    throw Error("deflate_level", fmt::format("is {}", deflate_level), "give 0 to 9");
  interruptible(told, [&](const auto& progress) {
    write_simulation(
        simulation, with_seed(provenance, simulation),
        {.records = records, .truth = truth, .deflate_level = deflate_level, .progress = progress});
  });
}

}  // namespace

void bind_simulations(py::module_& module) {
  py::class_<Simulation>(module, "Simulation", "A planned run; see firstedge.simulate.")
      .def_static(
          "read",
          [](const std::filesystem::path& file, std::optional<std::uint64_t> records,
             std::optional<std::uint64_t> seed) {
            return planned(read_simulation_plan(file), records, seed);
          },
          py::arg("file"), py::arg("records"), py::arg("seed"))
      .def_static(
          "parse",
          [](const std::string& text, std::optional<std::uint64_t> records,
             std::optional<std::uint64_t> seed) {
            return planned(simulation_plan(settings_from_json(text, "plan")), records, seed);
          },
          py::arg("text"), py::arg("records"), py::arg("seed"))
      .def_property_readonly("records",
                             [](const Simulation& simulation) { return simulation.plan().records; })
      .def("made", &made, py::arg("first"), py::arg("count"), py::arg("provenance"))
      .def("write", &write, py::arg("records"), py::arg("truth"), py::arg("deflate_level"),
           py::arg("provenance"), py::arg("progress"))
      .def(
          "described",
          [](const Simulation& simulation, const Provenance& provenance) {
            return describe(simulation, with_seed(provenance, simulation));
          },
          py::arg("provenance"));
}

}  // namespace firstedge::python
