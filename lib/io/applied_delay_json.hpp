// Applied delays as JSON text, as they stand in the head of a stamp table.
#pragma once

#include "firstedge/core/applied_delay.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// A list of {"channel", "first_record", "last_record", "delay_s", "doubtful", "terms": [{"name", "unit",
/// "value", "uncertainty", "degrees_of_freedom" (null: infinite), "sensitivity", "distribution", "type" ("A"
/// or "B"), "measured"}]}; numbers in the shortest form that reads back to the same double. Bytes that are
/// not UTF-8 are replaced by U+FFFD.
std::string applied_delays_json(const std::vector<AppliedDelay>& delays);

/// Reads it back. Throws Error naming `place` for text that is not such a list, and for figures without
/// sense: not finite, a negative uncertainty, no positive degrees of freedom, records out of order.
std::vector<AppliedDelay> applied_delays_from_json(std::string_view json, const std::string& place);

}  // namespace firstedge
