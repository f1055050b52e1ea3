// The words of a CSV stamp table: its lines of head, its columns, and the names of channels and methods.
// For the CSV writer and reader, so that the two cannot drift apart.
#pragma once

#include "firstedge/io/stamp_table.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace firstedge::stamp_words {

inline constexpr std::string_view first_line = "# firstedge stamp table 1";
inline constexpr std::string_view title_line = "# title: ";            // JSON text
inline constexpr std::string_view channel_line = "# channel: ";        // JSON object, one line a channel
inline constexpr std::string_view method_line = "# method: ";          // JSON object, one line a method
inline constexpr std::string_view provenance_line = "# provenance: ";  // JSON object
inline constexpr std::string_view delays_line = "# applied_delays: ";  // JSON list; only if there are any
inline constexpr std::string_view part_line = "# part: ";              // JSON object; only of a part of a run
inline constexpr std::string_view trigger_line =
    "# trigger: ";  // record,scale,seconds,femtoseconds; at the end

/// "record,channel,...,flags"
std::string columns();

/// How channels and methods are written in the rows: printable and all different. A method is its name, with
/// its settings in parentheses if it has any.
std::vector<std::string> channel_labels(const StampTableHead& head);
std::vector<std::string> method_labels(const StampTableHead& head);

/// A field as RFC 4180 has it: in quotes if it holds a comma or a quote.
std::string field(const std::string& text);

std::string json_line(const std::string& text);
std::string json_line(const StampTableHead::Channel& channel);
std::string json_line(const StampTableHead::Method& method);

/// Throw Error naming place for text that is not such a line.
std::string text_from_json(std::string_view json, const std::string& place);
StampTableHead::Channel channel_from_json(std::string_view json, const std::string& place);
StampTableHead::Method method_from_json(std::string_view json, const std::string& place);

}  // namespace firstedge::stamp_words
