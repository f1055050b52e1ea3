// JSON texts of few levels, as they stand in the heads of our files. For the .cpp files of lib/io alone.
#pragma once

#include "firstedge/core/error.hpp"

#include <string_view>

#include <nlohmann/json.hpp>

namespace firstedge {

/// The parser takes memory for each bracket that is open, so that nesting is stopped early.
inline constexpr int deepest_flat_nesting = 8;

/// The parsed text. Throws `refusal` where brackets are open deeper than that, and the parser's own exception
/// for what is not JSON.
inline nlohmann::ordered_json flat_json(std::string_view text, const Error& refusal) {
  using Json = nlohmann::ordered_json;
  return Json::parse(text, [&](int depth, Json::parse_event_t, const Json&) {
    if (depth > deepest_flat_nesting) throw Error(refusal);
    return true;
  });
}

}  // namespace firstedge
