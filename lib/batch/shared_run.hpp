// A run shared out between processes: each stamps its part into a journal, then one of them writes the table.
#pragma once

#include "firstedge/batch/prepared_run.hpp"
#include "firstedge/batch/record_range.hpp"
#include "firstedge/batch/run.hpp"

#include <cstdint>
#include <filesystem>
#include <vector>

namespace firstedge {

/// "<table>.part-2-of-3.journal".
std::filesystem::path journal_of_part(const std::filesystem::path& table, const RecordPart& part);

/// Stamps the part options.part into its journal, or what of it is not there yet. Throws Error as stamp_run.
void stamp_into_journal(const PreparedRun& run, const std::vector<std::filesystem::path>& files,
                        const Setup& setup, const std::filesystem::path& table, const RunOptions& options);

/// Writes the table from the finished journals of all parts, which stand beside it, and deletes them. The
/// table is that of stamp_run, bit for bit. Throws Error for a journal that is not there or not finished.
RunSummary table_from_journals(const PreparedRun& run, const std::vector<std::filesystem::path>& files,
                               const Setup& setup, const std::filesystem::path& table, std::uint64_t parts,
                               const RunOptions& options = {});

}  // namespace firstedge
