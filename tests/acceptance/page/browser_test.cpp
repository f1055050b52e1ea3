// Claims of the page that only a browser can check: it draws its plots, logs no error, asks for nothing, and
// runs nothing that stood in a file. The pages are left in <build>/pages to be looked at.
#include "firstedge/report/report.hpp"

#include "unit/report/sample_result.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <regex>
#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

namespace firstedge {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::Not;

struct Seen {
  std::string document;  // the page's elements after its scripts have run
  std::string log;       // what the browser wrote on standard error
};

std::string content(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

// A browser of its own, without a profile and without services that talk to anybody.
Seen opened(const std::string& name, const std::string& html) {
  const fs::path folder = fs::path(FIRSTEDGE_BINARY_DIR) / "pages";
  fs::create_directories(folder);
  const fs::path page = folder / (name + ".html"), log = folder / (name + ".log"),
                 dom = folder / (name + ".dom");
  write_whole(page, html);
  std::string profile = fs::temp_directory_path() / "firstedge_browser_XXXXXX";
  if (mkdtemp(profile.data()) == nullptr) ADD_FAILURE() << "no room for a browser profile in " << profile;
  const std::string command =
      "timeout 300 chromium --headless --no-sandbox --disable-gpu --disable-quic --no-first-run "
      "--disable-background-networking --disable-component-update --disable-sync --disable-dev-shm-usage "
      "--user-data-dir='" +
      profile +
      "' --virtual-time-budget=5000 --enable-logging=stderr --log-level=0 --dump-dom "
      "'file://" +
      page.string() + "' >'" + dom.string() + "' 2>'" + log.string() + "'";
  const int status = std::system(command.c_str());
  fs::remove_all(profile);
  EXPECT_EQ(status, 0) << command << "\n" << content(log);
  return {content(dom), content(log)};
}

bool have_browser() {
  return std::system("command -v chromium >/dev/null") == 0;
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

TEST(browser, draws_every_plot_without_an_error) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  const Result result = sample_result();
  const Seen seen = opened("sample", to_page(result));
  EXPECT_THAT(console_lines(seen.log), testing::IsEmpty());
  EXPECT_THAT(seen.document, HasSubstr("data-ready=\"" + std::to_string(result.plots.size()) + "\""));
  EXPECT_EQ(count_of(seen.document, "<canvas"), result.plots.size());
  // Chart.js gives a canvas its size when it has drawn on it.
  EXPECT_EQ(count_of(seen.document, "style=\"display: block; box-sizing: border-box;"), result.plots.size());
  EXPECT_THAT(seen.document, HasSubstr("class=\"series\" aria-pressed=\"true\""));
}

TEST(browser, shows_hostile_names_as_names) {
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  const Seen seen = opened("hostile", to_page(hostile_result()));
  EXPECT_THAT(console_lines(seen.log), testing::IsEmpty());
  EXPECT_THAT(seen.document, HasSubstr("data-ready=\"1\""));
  EXPECT_THAT(seen.document, Not(HasSubstr("<title>taken</title>")));
  // In the browser's own writing of the document every < outside a script or a style opens or closes an
  // element.
  const std::string elements = without_scripts(seen.document);
  EXPECT_EQ(count_of(elements, "<img"), 0U);
  EXPECT_FALSE(std::regex_search(elements, std::regex("<[a-z]+( [a-z-]+(=\"[^\"]*\")?)* on[a-z]+=")));
  EXPECT_THAT(elements, HasSubstr("<h1>&lt;/script&gt;&lt;img src=x"));
}

TEST(browser, policy_stops_a_script_and_a_request_that_got_into_the_page) {
  // The second wall: even if an escape were missing, nothing would run and nothing would be fetched.
  if (!have_browser()) GTEST_SKIP() << "no chromium here";
  std::string page = to_page(Result{.title = "before"});
  page.insert(
      page.find("</main>"),
      "<script>document.title='taken'</script><img src='missing.png' onerror=\"document.title='taken'\">");
  const Seen seen = opened("broken_into", page);
  EXPECT_THAT(seen.document, HasSubstr("<title>before</title>"));
  const auto lines = console_lines(seen.log);
  const auto refusals = std::count_if(lines.begin(), lines.end(), [](const std::string& line) {
    return line.find("Content Security Policy") != std::string::npos;
  });
  EXPECT_GE(refusals, 2) << seen.log;  // the script and the image
}

}  // namespace
}  // namespace firstedge
