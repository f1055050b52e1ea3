// The document of the Setup: what it shows must be taken by the rooms that read it.
#include "firstedge/io/setup.hpp"
#include "firstedge/signal/baseline.hpp"
#include "firstedge/signal/filter.hpp"
#include "firstedge/timing/methods.hpp"
#include "firstedge/timing/pulse_search.hpp"

#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::string document() {
  std::ifstream file(FIRSTEDGE_SOURCE_DIR "/docs/setup.md");
  return {std::istreambuf_iterator<char>(file), {}};
}

std::vector<std::string> json_blocks(const std::string& text) {
  const std::string open = "```json\n", close = "```";
  std::vector<std::string> blocks;
  for (std::size_t at = text.find(open); at != std::string::npos; at = text.find(open, at)) {
    at += open.size();
    const std::size_t end = text.find(close, at);
    blocks.push_back(text.substr(at, end - at));
    at = end + close.size();
  }
  return blocks;
}

void expect_taken(const ChannelSetup& channel) {
  EXPECT_NO_THROW(baseline_options(channel.baseline));
  EXPECT_NO_THROW(search_options(channel.search));
  for (const Settings& filter : channel.filters) EXPECT_NO_THROW(filter_options(filter));
  for (const Settings& method : channel.timing) {
    EXPECT_NO_THROW(needs_template(method));
    EXPECT_NO_THROW(needs_walk(method));
    // What must be learnt first is asked for when the options have been read: nothing else may be wrong.
    if (needs_template(method) || needs_walk(method)) continue;
    EXPECT_NO_THROW(make_timing_method(method, {.noise = white_noise(1e-3, 1e-10)}));
  }
}

TEST(setup_document, every_setup_in_it_is_taken) {
  const std::vector<std::string> blocks = json_blocks(document());
  ASSERT_GE(blocks.size(), 2U);
  for (const std::string& block : blocks) {
    SCOPED_TRACE(block);
    const firstedge::Setup setup = parse_setup(block, "docs/setup.md");
    expect_taken(setup.every_channel);
    for (const ChannelSetup& channel : setup.channels) expect_taken(channel);
  }
}

TEST(setup_document, every_method_is_in_it) {
  const std::string text = document();
  for (const std::string& name : timing_method_names())
    EXPECT_THAT(text, testing::HasSubstr("| `" + name + "` |"));
}

}  // namespace
}  // namespace firstedge
