// The pieces that a page is put together from.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/core/trace_browser.hpp"

#include <string>
#include <string_view>

namespace firstedge {

/// Words as they stand in HTML, in an element or a quoted attribute: clean (see words.hpp), with & < > " '
/// escaped.
std::string html(std::string_view words);

/// The same for a text of several lines.
std::string html_lines(std::string_view text);

/// A quantity ("-2.1 ps", "(-2.1 ± 0.3) ps", "7e-12") with a true minus sign before its value and its power
/// of ten written out.
std::string as_printed(std::string quantity);

/// Escaped words in which a figure is not broken over two lines: its spaces hold together.
std::string held_together(const std::string& escaped_words);

/// A table with its title and note. Numbers line up at the point.
std::string table_html(const Table& table, std::string_view id);

/// The plots as JSON for page.js, safe inside a script element: in the units of the axes, about seven digits,
/// NaN and infinity as null. A plot of more than some 100,000 points is thinned to what can be seen.
std::string plots_data(const std::vector<Plot>& plots);

/// One sentence that says how plots_data thins this plot; empty if it does not.
std::string thinning_note(const Plot& plot);

/// A text as JSON that is safe inside a script element: clean, and no <, > or & stands in it.
std::string json_text(std::string_view words);

/// The window onto the traces of a page, as it stands before its script has run; and the traces as a script
/// element for it: their volts as 16-bit steps in base64, times and volts in SI.
std::string trace_window_html(const TraceBrowser& browser);
std::string trace_window_data(const TraceBrowser& browser);

/// The name of a file for the points of a plot: its key, letters, digits, - and _ only.
std::string file_stem(std::string_view key);

// The page's own files and the plot library, as they were when the library was built (see
// cmake/FirstedgeEmbed.cmake).
std::string_view page_style();
std::string_view page_theme_script();
std::string_view page_script();
std::string_view trace_window_script();
std::string_view plot_library_script();

}  // namespace firstedge
