// Putting the stamp tables of the parts of a run together.
#pragma once

#include "firstedge/io/stamp_table.hpp"

#include <cstdint>
#include <filesystem>
#include <vector>

namespace firstedge {

struct MergedTable {
  StampTableHead head;
  std::uint64_t stamps = 0;
  std::uint64_t parts = 0;
};

/// Writes the table of the whole run from those of all its parts, given in any order. From HDF5 to HDF5 and
/// from CSV to CSV it is the same, byte for byte, as the table that the run gives at once. Memory: one block
/// of stamps, and the triggers of one part.
///
/// Throws Error for a table that is not of a part, a part that is missing or given twice, and parts of
/// different runs: another head (channels, methods, applied delays, provenance), something else learnt from
/// the first records, records out of order.
MergedTable merge_stamp_tables(const std::vector<std::filesystem::path>& parts,
                               const std::filesystem::path& table);

}  // namespace firstedge
