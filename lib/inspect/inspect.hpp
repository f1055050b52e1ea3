// Inspect: what was recorded, told in ten seconds: channels, range, baseline, noise, pulses, doubtful things.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include <cstdint>
#include <filesystem>
#include <vector>

namespace firstedge {

struct InspectOptions {
  std::uint64_t most_records = 4000;  ///< looked at from the start of the run
  std::size_t traces_shown = 60;      ///< overlaid in the plot, spread over the records looked at
};

struct Inspection {
  Result result;
  ReadingAccount account;
};

/// Looks at the first records of a run. Noise and baselines are measured as the stamping would measure them
/// with this Setup. Throws Error if nothing can be read; a dead or missing channel is a line in the table and
/// a warning.
Inspection inspect_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                       const Provenance& provenance, const InspectOptions& options = {});

}  // namespace firstedge
