// Which part of a run a stamp table is, as JSON text, as it stands in the table.
#pragma once

#include "firstedge/io/stamp_table.hpp"

#include <string>
#include <string_view>

namespace firstedge {

/// {"part", "of", "learnt_sha256"}.
std::string stamp_part_json(const StampTablePart& part);

/// Reads it back. Throws Error naming `place` for text that is not such an object, or a part not from 1 to
/// of.
StampTablePart stamp_part_from_json(std::string_view json, const std::string& place);

}  // namespace firstedge
