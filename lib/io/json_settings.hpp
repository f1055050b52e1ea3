// JSON text of a Setup or a layout file, turned into Settings under limits that hold before anything is
// built.
#pragma once

#include "firstedge/core/settings.hpp"

#include <cstddef>
#include <string>
#include <string_view>

namespace firstedge {

inline constexpr std::size_t most_json_bytes = std::size_t{1} << 20U;  ///< 1 MiB
inline constexpr std::size_t deepest_json_nesting = 32;                ///< braces and brackets open at a time

/// The object that the text holds (RFC 8259; a leading byte order mark is passed over). Numbers become
/// double.
///
/// place names the text in errors ("bench.json"); values inside are named by their path
/// ("bench.json, channels/0/baseline"). Throws Error, with line and column, for text that is not JSON, and,
/// with the path, for a name given twice, null, an outermost value that is not an object, more than
/// most_json_bytes or deeper nesting than deepest_json_nesting. The parser keeps no call stack, so nesting
/// cannot exhaust it.
Settings settings_from_json(std::string_view json, const std::string& place);

}  // namespace firstedge
