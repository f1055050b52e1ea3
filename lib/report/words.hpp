// Words from anywhere (files, setups, command lines) made fit to be shown: valid UTF-8 without control
// characters, measured in columns of a terminal, and wrapped.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// text as valid UTF-8 that moves no cursor: a broken byte becomes U+FFFD, a control character '?' (a line
/// break or a tab a space), and marks that turn the writing direction U+FFFD. Nothing is cut.
std::string clean_words(std::string_view text);

/// As clean_words, but line breaks stay (and CR LF becomes LF): for a text of several lines, such as a setup.
std::string clean_lines(std::string_view text);

/// Columns that clean text takes on a terminal: combining marks none, East Asian wide letters two.
std::size_t shown_width(std::string_view clean);

/// clean text in lines of at most width columns (width >= 2), broken at spaces, and inside a word only where
/// the word alone is too wide. An empty text gives one empty line.
std::vector<std::string> wrapped(std::string_view clean, std::size_t width);

}  // namespace firstedge
