// The manners of all apps: help and version on standard output, junk refused with one sentence on standard
// error and exit code 2, nothing left behind.
#include "support/program.hpp"

#include <algorithm>

#include <gtest/gtest.h>

namespace firstedge::test {
namespace {

class manners : public testing::TestWithParam<const char*> {};

TEST_P(manners, help_says_what_the_app_does_with_an_example) {
  const Outcome help = run_program({app(GetParam()), "--help"});
  EXPECT_EQ(help.status, 0);
  EXPECT_TRUE(help.err.empty()) << help.err;
  EXPECT_NE(help.out.find(std::string("firstedge-") + GetParam()), std::string::npos) << help.out;
  EXPECT_NE(help.out.find("Example:"), std::string::npos) << help.out;
}

TEST_P(manners, version_names_app_and_number) {
  const Outcome version = run_program({app(GetParam()), "--version"});
  EXPECT_EQ(version.status, 0);
  EXPECT_EQ(version.out.rfind(std::string("firstedge-") + GetParam() + " ", 0), 0U) << version.out;
}

TEST_P(manners, junk_options_and_missing_files_get_one_sentence_and_exit_code_two) {
  const std::vector<std::vector<std::string>> junk{{},    {"--no-such-option"}, {"/no/such/file"},
                                                   {"/"}, {"/dev/null"},        {"/no/such/file", "--page"}};
  for (std::vector<std::string> words : junk) {
    words.insert(words.begin(), app(GetParam()));
    const Outcome outcome = run_program(words);
    EXPECT_EQ(outcome.status, 2) << words.back() << outcome.err;
    EXPECT_TRUE(outcome.out.empty()) << outcome.out;
    EXPECT_EQ(std::count(outcome.err.begin(), outcome.err.end(), '\n'), 1)
        << words.back() << ": " << outcome.err;
  }
}

INSTANTIATE_TEST_SUITE_P(all_apps, manners,
                         testing::Values("inspect", "stamp", "jitter", "spectrum", "compare", "budget",
                                         "clock", "chain", "agree", "delay", "simulate", "traces"),
                         [](const auto& row) { return std::string(row.param); });

}  // namespace
}  // namespace firstedge::test
