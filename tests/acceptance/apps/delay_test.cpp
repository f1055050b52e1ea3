// firstedge-delay as a person runs it: a simulated cable measured through and by reflection, and tables
// closed.
#include "support/program.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

namespace firstedge::test {
namespace {

constexpr const char* plan = R"({
  "title": "a cable", "seed": 5, "records": 120, "samples": 600, "interval": "0.2 ns", "first_sample": "-25 ns",
  "channels": [
    {"name": "near", "heights": {"height": "60 mV"}, "noise": {"white": "1 mV"},
     "digitizer": {"full_scale": "0.25 V"}},
    {"name": "far", "shape": {"line": {"delay": "20 ns", "skin": "0.1 ns"}}, "heights": {"height": "60 mV"},
     "noise": {"white": "1 mV"}, "digitizer": {"full_scale": "0.25 V"}},
    {"name": "echo", "shape": {"line": {"delay": "40 ns", "skin": "0.1 ns", "end": "open",
     "seen_at": "near_end", "mismatches": [{"position": 0.6, "reflection": 0.05}]}}, "heights": {"height": "60 mV"},
     "noise": {"white": "1 mV"}, "digitizer": {"full_scale": "0.25 V"}}
  ]})";

TEST(delay_app, measures_a_simulated_cable_through_and_by_reflection) {
  const TemporaryFolder folder;
  const std::string run = folder / "run.h5", page = folder / "delay.html", json = folder / "delay.json";
  const Outcome made = run_program({app("simulate"), folder.write("plan.json", plan), "-o", run, "--quiet"});
  ASSERT_EQ(made.status, 0) << made.err;
  const Outcome through = run_program(
      {app("delay"), "through", run, "--before", "near", "--after", "far", "--page", page, "--json", json});
  ASSERT_EQ(through.status, 0) << through.err;
  // Known to 2 ps: the digits before that are those of the plan.
  EXPECT_NE(through.out.find("near → far: bulk delay (20.00"), std::string::npos) << through.out;
  EXPECT_NE(text_of(page).find("Group delay"), std::string::npos);
  EXPECT_NE(text_of(json).find("\"half_time\""), std::string::npos);
  const Outcome echo = run_program({app("delay"), "reflection", run, "--channel", "echo", "--end", "open"});
  ASSERT_EQ(echo.status, 0) << echo.err;
  EXPECT_NE(echo.out.find("one mismatch stands out"), std::string::npos) << echo.out;
}

TEST(delay_app, closes_tables_and_refuses_broken_ones_with_one_sentence) {
  const TemporaryFolder folder;
  const std::string swap = folder.write("swap.csv",
                                        "first,second,offset,difference (ns),uncertainty\n"
                                        "A,B,channels,5.30,30 ps\nB,A,channels,-2.10,30 ps\n");
  const Outcome closed = run_program({app("delay"), "closure", swap, "--reference", "B"});
  ASSERT_EQ(closed.status, 0) << closed.err;
  EXPECT_NE(closed.out.find("3.700 ± 0.021"), std::string::npos) << closed.out;
  for (const char* job : {"closure", "clock-trip", "repeats"}) {
    const Outcome broken =
        run_program({app("delay"), job, folder.write("broken.csv", "first,second\nA\n").string()});
    EXPECT_EQ(broken.status, 2) << job;
    EXPECT_TRUE(broken.out.empty()) << broken.out;
    EXPECT_NE(broken.err.find("broken.csv, line 2: has 1 fields under 2 names"), std::string::npos)
        << broken.err;
  }
}

TEST(delay_app, names_the_far_ends_it_knows_when_given_another) {
  const Outcome wrong = run_program({app("delay"), "reflection", "run.h5", "--end", "opne"});
  EXPECT_EQ(wrong.status, 2);
  EXPECT_NE(wrong.err.find("--end: opne not in {open,shorted,matched}"), std::string::npos) << wrong.err;
}

TEST(budget_app, takes_a_pair_as_first_and_second_with_a_comma) {
  const std::string bench = std::string(FIRSTEDGE_SOURCE_DIR) + "/sample_data/bench";
  const std::vector<std::string> words{app("budget"), bench + ".h5", "--setup", bench + ".setup.json",
                                       "--records",   "200",         "--pair"};
  const auto with = [&](const std::string& pair) {
    std::vector<std::string> all = words;
    all.push_back(pair);
    return run_program(all);
  };
  const Outcome turned = with("amplified,bare");
  ASSERT_EQ(turned.status, 0) << turned.err;
  EXPECT_NE(turned.out.find("amplified − bare"), std::string::npos) << turned.out;
  const Outcome alone = with("amplified");
  EXPECT_EQ(alone.status, 2);
  EXPECT_NE(alone.err.find("name two channels: first,second"), std::string::npos) << alone.err;
}

}  // namespace
}  // namespace firstedge::test
