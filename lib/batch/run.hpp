// The streaming run: learn from the first records, then read ahead -> stamp in parallel -> write in order.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <vector>

namespace firstedge {

struct RunOptions {
  int threads = 0;  ///< 0: as many as the machine has
  std::size_t records_in_block = 256;
  std::vector<PulseTemplate> templates;  ///< used in place of learning, by channel name
  /// Called after each block, in order, from one thread at a time: records done so far.
  std::function<void(std::uint64_t records)> progress;
};

/// What was learnt of a channel, and the methods made ready with it.
struct LearntChannel {
  std::string name;
  double interval_s = 0;
  NoiseModel noise;
  std::shared_ptr<const PulseTemplate> pulse_template;
  std::uint64_t pulses_learnt_from = 0;
};

struct RunSummary {
  std::uint64_t records = 0;
  std::uint64_t stamps = 0;
  std::vector<LearntChannel> channels;
  /// Stamps of each channel (first index) and method (second), and how many carry each flag of flag_table.
  struct Cell {
    std::uint64_t stamps = 0;
    std::uint64_t unflagged = 0;
    std::array<std::uint64_t, 9> flagged{};
  };
  std::vector<std::vector<Cell>> cells;
  ReadingAccount account;
};

/// Stamps a whole run into a table. The stamps are the same, bit for bit, for any threads and
/// records_in_block. Throws Error when nothing can be learnt or the Setup does not fit the run; damage in the
/// files goes into the account.
RunSummary stamp_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                     const std::filesystem::path& table, const Provenance& provenance,
                     const RunOptions& options);

}  // namespace firstedge
