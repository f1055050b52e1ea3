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
  /// Another run that the noise is held against (shielded and unshielded, say); empty: none.
  std::vector<std::filesystem::path> against;
};

struct Inspection {
  Result result;
  ReadingAccount account;
};

/// Looks at the first records of a run. Noise and baselines are measured as the stamping would measure them
/// with this Setup. Throws Error if nothing can be read; a dead or missing channel is a line in the table and
/// a warning. The answer gives the median pulse height and the noise with their standard uncertainties (see
/// ChannelLook): of each of three channels at most, else of those with the least and the most. Figures: the
/// same of the first eight channels, "height_0", "noise_0" and so on.
///
/// Pairs of the first eight channels share a table "common" of the pick-up lines that both have and that are
/// coherent. With another run in options.against, the channels of the same name are compared: table "against"
/// (noise of both and their ratio in dB, 20 lg), table "against_lines" (lines of either with the density
/// there in both and their ratio in dB, 10 lg), and a plot of the ratio of the densities.
Inspection inspect_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                       const Provenance& provenance, const InspectOptions& options = {});

}  // namespace firstedge
