// A ReadingAccount as JSON text, as it stands at the end of a stamp journal.
#pragma once

#include "firstedge/io/record_reader.hpp"

#include <string>
#include <string_view>

namespace firstedge {

/// {"records_good", "records_bad", "traces_missing", "problems": [[place, problem, remedy]], "remarks": []}.
std::string reading_account_json(const ReadingAccount& account);

/// Reads it back. Throws Error naming `place` for text that is not such an object.
ReadingAccount reading_account_from_json(std::string_view json, const std::string& place);

}  // namespace firstedge
