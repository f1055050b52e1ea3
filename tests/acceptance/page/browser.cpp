#include "acceptance/page/browser.hpp"

#include "firstedge/report/report.hpp"

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>
#include <unistd.h>

namespace firstedge::test {

namespace fs = std::filesystem;

namespace {

std::string content(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

// What the page itself logged; the browser's own troubles (no bus, no graphics card) stand beside it.
std::vector<std::string> console_lines(const std::string& log) {
  std::vector<std::string> lines;
  std::istringstream in(log);
  for (std::string line; std::getline(in, line);) {
    if (line.find("CONSOLE") != std::string::npos) lines.push_back(line);
  }
  return lines;
}

}  // namespace

bool have_browser() {
  return std::system("command -v chromium >/dev/null") == 0;
}

fs::path page_folder() {
  const fs::path pages = fs::path(FIRSTEDGE_BINARY_DIR) / "pages";
  fs::create_directories(pages);
  return pages;
}

// A browser of its own, without a profile and without services that talk to anybody. Virtual time makes it
// wait for the page's scripts and not for the clock; the time limit only ends a browser that hangs.
Seen opened(const std::string& name, const std::string& html) {
  const fs::path page = page_folder() / (name + ".html"), log = page_folder() / (name + ".log"),
                 dom = page_folder() / (name + ".dom");
  write_whole(page, html);
  std::string profile = fs::temp_directory_path() / "firstedge_browser_XXXXXX";
  if (mkdtemp(profile.data()) == nullptr) ADD_FAILURE() << "no room for a browser profile in " << profile;
  const std::string command =
      "timeout 300 chromium --headless --no-sandbox --disable-gpu --disable-quic --no-first-run "
      "--disable-background-networking --disable-component-update --disable-sync --disable-dev-shm-usage "
      "--allow-file-access-from-files --user-data-dir='" +
      profile +
      "' "
      "--enable-logging=stderr --log-level=0 --dump-dom 'file://" +
      page.string() + "' >'" + dom.string() + "' 2>'" + log.string() + "'";
  const int status = std::system(command.c_str());
  fs::remove_all(profile);
  EXPECT_EQ(status, 0) << command << "\n" << content(log);
  return {content(dom), console_lines(content(log))};
}

std::size_t count_of(const std::string& text, const std::string& part) {
  std::size_t count = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size()))
    ++count;
  return count;
}

// The document without the four scripts and the style that belong to every page.
std::string without_scripts(const std::string& document) {
  std::string left;
  for (std::size_t at = 0; at < document.size();) {
    const std::size_t script = document.find("<script", at), style = document.find("<style", at);
    const std::size_t start = std::min({script, style, document.size()});
    left += document.substr(at, start - at);
    if (start == document.size()) break;
    const std::string end = script < style ? "</script>" : "</style>";
    const std::size_t found = document.find(end, start);
    at = found == std::string::npos ? document.size() : found + end.size();
  }
  return left;
}

}  // namespace firstedge::test
