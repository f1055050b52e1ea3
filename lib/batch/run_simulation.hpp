// The simulated run written into files: records as a digitizer would leave them, and the truth as a stamp
// table.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/io/stamp_table.hpp"
#include "firstedge/simulate/simulation.hpp"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>

namespace firstedge {

struct SimulationRunOptions {
  std::filesystem::path records;               ///< file of our HDF5 layout
  std::optional<std::filesystem::path> truth;  ///< stamp table, .h5 or .csv
  int deflate_level = 4;                       ///< 0 to 9, 0: none
  std::function<void(std::uint64_t records, double share)> progress;
};

/// A plan (JSON): a file. Throws Error as simulation_plan.
SimulationPlan read_simulation_plan(const std::filesystem::path& file);

/// The head of the table of true stamps: one method, "truth"; the noise of a channel is the planned one, its
/// colours added as squares.
StampTableHead truth_head(const SimulationPlan& plan, const Provenance& provenance);

/// Writes all records of the plan, by blocks, and their truth. Both files appear when whole. Throws Error for
/// files that cannot be made.
void write_simulation(const Simulation& simulation, const Provenance& provenance,
                      const SimulationRunOptions& options);

}  // namespace firstedge
