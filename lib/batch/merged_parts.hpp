// The parts of a run put together, as a Result.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/io/stamp_table_merge.hpp"

#include <filesystem>

namespace firstedge {

/// How many stamps of how many parts stand in that table; the provenance is left to the caller.
Result merging_result(const MergedTable& merged, const std::filesystem::path& table);

}  // namespace firstedge
