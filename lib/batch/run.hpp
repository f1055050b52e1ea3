// The streaming run: learn from the first records, then read ahead -> stamp in parallel -> write in order.
#pragma once

#include "firstedge/batch/learning.hpp"
#include "firstedge/batch/record_range.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/io/input_digests.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"
#include "firstedge/io/stamp_table.hpp"
#include "firstedge/stats/running_median.hpp"

#include <array>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

struct RunOptions {
  int threads = 0;  ///< 0: as many as the machine has
  std::size_t records_in_block = 256;
  std::vector<PulseTemplate> templates;  ///< used in place of learning, by channel name
  std::optional<RecordPart> part;        ///< stamps this part of the records alone
  /// Keeps what is finished in a journal beside the table until the table is whole, and goes on from one that
  /// is there (batch/resume.hpp). The provenance must then say all that the run depends on.
  bool journal = false;
  /// The digests that the provenance's inputs wait for; null where it has them.
  std::shared_ptr<InputDigests> digests;
  /// Called with a sentence for people about what was found there.
  std::function<void(const std::string&)> tell;
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
    RunningMedian uncertainty_s;  ///< of those that were timed
  };
  RunDescription description;
  ReadingAccount account;
  std::vector<LearntChannel> channels;
  std::vector<StampTableHead::Method> methods;
  std::vector<std::vector<Cell>> cells;  ///< [channel][method]
  std::uint64_t records = 0;
  std::uint64_t stamps = 0;
};

/// Stamps a run, or a part of one, into a table. The table is the same, bit for bit, for any threads and
/// records_in_block, and however often it was stopped and taken up. Throws Error when nothing can be learnt
/// or the Setup does not fit the run; damage in the files goes into the account.
RunSummary stamp_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                     const std::filesystem::path& table, const Provenance& provenance,
                     const RunOptions& options);

struct PreparedRun;

/// A block of records that has been stamped.
struct StampedBlock {
  std::uint64_t records = 0;
  std::uint64_t next_record = 0;  ///< the index behind the last of them
  std::span<const Stamp> stamps;
  std::span<const TriggerRow> triggers;
  std::optional<double> share_read;  ///< of all that the reader has, with this block, if it is known
};

/// Stamps all records of the reader in parallel and hands the blocks over in order, by one thread at a time.
void stamp_records(const PreparedRun& run, RecordReader& reader, const RunOptions& options,
                   const std::function<void(const StampedBlock&)>& take);

/// The summary as a Result: what was stamped and flagged, what was learnt (noise, templates, bounds). Its
/// answer and table give the median of the standard uncertainties of the stamps that were timed.
Result summary_of(const RunSummary& summary, const Provenance& provenance);

}  // namespace firstedge
