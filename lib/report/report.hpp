// Report: a Result as text for a terminal, JSON for programs and a page for people.
#pragma once

#include "firstedge/core/result.hpp"

#include <filesystem>
#include <string>

namespace firstedge {

/// Plain text: the answer, the figures, the tables (columns aligned, units in the head), the warnings.
std::string to_text(const Result& result);

/// JSON with every number in SI and full precision; NaN becomes null. Layout "firstedge result 1".
std::string to_json(const Result& result);

/// One self-contained HTML file that opens offline: no request is made, every text is escaped.
std::string to_page(const Result& result);

/// Writes text whole or not at all: into a file beside the target, then renamed. Throws Error.
void write_whole(const std::filesystem::path& file, const std::string& text);

}  // namespace firstedge
