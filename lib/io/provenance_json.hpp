// Provenance as JSON text, as it stands in stamp tables.
#pragma once

#include "firstedge/core/result.hpp"

#include <string>
#include <string_view>

namespace firstedge {

/// {"program", "version", "command", "inputs": [{"name", "bytes", "sha256"}], "setup", "options": {}}. Bytes
/// that are not UTF-8 are replaced by U+FFFD.
std::string provenance_json(const Provenance& provenance);

/// Reads it back. Throws Error naming `place` for text that is not such an object; names it does not know are
/// passed over.
Provenance provenance_from_json(std::string_view json, const std::string& place);

}  // namespace firstedge
