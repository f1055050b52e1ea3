// Report: a Result as text for a terminal, JSON for programs and a page for people.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/core/trace_browser.hpp"

#include <filesystem>
#include <string>

namespace firstedge {

/// Plain text: the answer, the figures, the tables (columns aligned, units in the head), the warnings.
std::string to_text(const Result& result);

/// JSON with every number in SI and full precision; NaN becomes null. Layout "firstedge result 1".
std::string to_json(const Result& result);

/// One self-contained HTML file that opens offline: no request is made, every text is escaped.
std::string to_page(const Result& result);

/// The same with a window onto the traces: lists to step through, points and bins that lead to their traces,
/// two cursors. Shown alone, all numbers come from the browser. Volts are rounded to a 65,534th of a trace's
/// span. Some 3 bytes a value of a trace or a fit; it is for the maker of the browser to keep them few.
std::string to_page(const TraceBrowser& browser);

/// Writes text whole or not at all: into a file beside the target, then renamed. Throws Error.
void write_whole(const std::filesystem::path& file, const std::string& text);

}  // namespace firstedge
