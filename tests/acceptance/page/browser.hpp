// A real browser, without a window: opens pages and tells what became of them.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace firstedge::test {

struct Seen {
  std::string document;               ///< the page's elements after its scripts have run
  std::vector<std::string> messages;  ///< what the page logged
};

bool have_browser();

/// Where pages are written to and left to be looked at: <build>/pages.
std::filesystem::path page_folder();

/// Writes the page name.html into the folder and opens it there.
Seen opened(const std::string& name, const std::string& html);

std::size_t count_of(const std::string& text, const std::string& part);

/// The document without its scripts and its style.
std::string without_scripts(const std::string& document);

}  // namespace firstedge::test
