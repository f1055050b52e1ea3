// Resuming: a run's journal, and what of the run is not in it yet.
#pragma once

#include "firstedge/batch/prepared_run.hpp"
#include "firstedge/batch/record_range.hpp"
#include "firstedge/batch/run.hpp"
#include "firstedge/io/stamp_journal.hpp"

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

namespace firstedge {

/// "<table>.journal".
std::filesystem::path journal_beside(const std::filesystem::path& table);

/// The journal of a part of the run: what is there, if it belongs to a run of inputs with these names and
/// sizes.
std::unique_ptr<StampJournal> open_journal(const PreparedRun& run, const RecordPart& part,
                                           const std::filesystem::path& file);

/// True if the inputs' digests are those that the journal has noted (this waits for them); of a journal whose
/// run was stopped before they were known, if no input has been changed since then.
bool has_these_inputs(const StampJournal& journal, const PreparedRun& run, const RunOptions& options);

/// What is left to do of a run.
struct RunTail {
  std::unique_ptr<StampJournal> journal;      ///< null without options.journal
  std::unique_ptr<RecordRangeReader> reader;  ///< of the records that the journal does not have
};

/// Opens the journal, and the reader behind what it holds. A journal that belongs to other inputs, another
/// Setup, command, version or part, or whose records are not those read now, begins anew, and
/// options.tell is told so. `at_start`, a reader of the whole run, is used where all of that is left. Throws
/// Error as StampJournal and open_records do.
RunTail tail_of(const PreparedRun& run, const std::vector<std::filesystem::path>& files, const Setup& setup,
                const std::filesystem::path& journal, const RunOptions& options,
                std::shared_ptr<RecordReader> at_start = nullptr);

/// Stamps what is left. Each block goes into the journal, then to `take`; a journal whose run has come to its
/// end leaves nothing.
void stamp_tail(const PreparedRun& run, RunTail& tail, const RunOptions& options,
                const std::function<void(const StampedBlock&)>& take);

/// What was met while reading, once stamp_tail is through.
ReadingAccount account_of(const RunTail& tail);

}  // namespace firstedge
