// The streaming run: learn from the first records, then read ahead -> stamp in parallel -> write in order.
#pragma once

#include "firstedge/batch/learning.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <array>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <vector>

namespace firstedge {

struct RunOptions {
  int threads = 0;  ///< 0: as many as the machine has
  std::size_t records_in_block = 256;
  std::vector<PulseTemplate> templates;  ///< used in place of learning, by channel name
  /// Called after each block, in order, by one thread at a time: records done so far, and the share of the
  /// input that has been read for them, 0 to 1, if it is known.
  std::function<void(std::uint64_t records, std::optional<double> share)> progress;
};

struct RunSummary {
  /// Stamps of one channel by one method, and how many carry each flag, in the order of flag_table.
  struct Cell {
    std::uint64_t stamps = 0;
    std::uint64_t unflagged = 0;
    std::array<std::uint64_t, flag_table.size()> flagged{};
  };
  RunDescription description;
  ReadingAccount account;
  std::vector<LearntChannel> channels;
  std::vector<StampTableHead::Method> methods;
  std::vector<std::vector<Cell>> cells;  ///< [channel][method]
  std::uint64_t records = 0;
  std::uint64_t stamps = 0;
};

/// Stamps a whole run into a table. The stamps are the same, bit for bit, for any threads and
/// records_in_block. Throws Error when nothing can be learnt or the Setup does not fit the run; damage in the
/// files goes into the account.
RunSummary stamp_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                     const std::filesystem::path& table, const Provenance& provenance,
                     const RunOptions& options);

/// The summary as a Result: what was stamped and flagged, what was learnt (noise, templates, bounds).
Result summary_of(const RunSummary& summary, const Provenance& provenance);

}  // namespace firstedge
