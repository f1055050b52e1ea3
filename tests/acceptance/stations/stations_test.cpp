// The two-station set of the sample data, as a person works with it: delays out, then do the stations agree?
// The good one passes; the one with a forgotten patch lead of 3.1 ns does not, and the lead is named.
#include "firstedge/io/stamp_table.hpp"

#include "support/program.hpp"

#include <cmath>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace firstedge::test {
namespace {

using testing::HasSubstr;

const std::string stations = FIRSTEDGE_SOURCE_DIR "/sample_data/stations/";

std::string without_delays(const TemporaryFolder& folder, const std::string& stamps,
                           const std::string& setup) {
  std::string output = (folder / (setup + ".h5")).string();
  const Outcome outcome = run_program({app("chain"), stations + stamps + ".stamps.csv", "--setup",
                                       stations + setup + ".setup.json", "-o", output, "--page",
                                       (folder / (setup + ".html")).string()});
  EXPECT_EQ(outcome.status, 0) << outcome.err;
  EXPECT_THAT(outcome.out, HasSubstr("again first"));
  return output;
}

nlohmann::json agreement(const TemporaryFolder& folder, const std::string& first, const std::string& second) {
  const std::string json = (folder / "agree.json").string();
  const Outcome outcome = run_program({app("agree"), first, second, "--distance", "412 m",
                                       "--distance-uncertainty", "10 mm", "--clock-uncertainty", "60 ps",
                                       "--json", json, "--page", (folder / "agree.html").string()});
  EXPECT_EQ(outcome.status, 0) << outcome.err;
  return nlohmann::json::parse(text_of(json));
}

TEST(stations, the_good_set_agrees) {
  const TemporaryFolder folder;
  const nlohmann::json found =
      agreement(folder, without_delays(folder, "south", "south"), without_delays(folder, "north", "north"));
  const std::string answer = found.at("answer");
  EXPECT_THAT(answer, HasSubstr("The stations agree: offset"));
  EXPECT_THAT(answer, HasSubstr("zero within the budget"));
  EXPECT_EQ(found.at("tables").at("verdict").at("rows").at(0).at(0), "agree");
}

TEST(stations, a_forgotten_patch_lead_is_pointed_at) {
  const TemporaryFolder folder;
  const nlohmann::json found = agreement(folder, without_delays(folder, "south", "south"),
                                         without_delays(folder, "north", "north.hidden"));
  const std::string answer = found.at("answer");
  EXPECT_THAT(answer, HasSubstr("The stations do not agree: by south diamond to north.hidden diamond"));
  EXPECT_THAT(answer, HasSubstr("Every way through north.hidden diamond is off and no other"));
  EXPECT_THAT(answer,
              HasSubstr("Most likely wrong: 'N patch lead' of north.hidden diamond, if it is in the path"));
  EXPECT_THAT(answer, HasSubstr("not zero within the budget"));
}

TEST(stations, delays_are_put_back) {
  const TemporaryFolder folder;
  const std::string out = without_delays(folder, "north", "north"), back = (folder / "back.csv").string();
  ASSERT_EQ(run_program({app("chain"), out, "--put-back", "-o", back}).status, 0);
  StampTableReader before(stations + "north.stamps.csv"), between(out), after(back);
  EXPECT_FALSE(between.head().applied_delays.empty());
  EXPECT_TRUE(after.head().applied_delays.empty());
  const auto a = before.next_block(100'000), b = between.next_block(100'000), c = after.next_block(100'000);
  ASSERT_GT(a.size(), 1000U);
  ASSERT_EQ(a.size(), c.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    // Two roundings: that of the time without the delay, and that of the sum.
    EXPECT_LE(std::abs(a[i].time_s - c[i].time_s),
              std::ldexp(std::abs(a[i].time_s) + std::abs(b[i].time_s), -53));
    EXPECT_EQ(a[i].flags, c[i].flags);
  }
  // Twice would be wrong, and is refused.
  const Outcome twice = run_program(
      {app("chain"), out, "--setup", stations + "north.setup.json", "-o", (folder / "twice.h5").string()});
  EXPECT_EQ(twice.status, 2);
  EXPECT_THAT(twice.err, HasSubstr("already"));
}

TEST(stations, an_expired_calibration_is_an_error_or_when_asked_for_a_flag) {
  const TemporaryFolder folder;
  std::string setup = text_of(stations + "south.setup.json");
  const std::string valid = "\"2027-10-04\"";
  setup.replace(setup.find(valid), valid.size(), "\"2026-10-31\"");
  const std::string file = folder.write("old.json", setup).string(), out = (folder / "out.csv").string();
  const std::vector<std::string> words{app("chain"), stations + "south.stamps.csv", "--setup", file, "-o",
                                       out};
  const Outcome refused = run_program(words);
  EXPECT_EQ(refused.status, 2);
  EXPECT_THAT(refused.err, HasSubstr("ended before 2026-11-03"));
  EXPECT_FALSE(std::filesystem::exists(out));
  std::vector<std::string> flagged = words;
  flagged.emplace_back("--flag-expired");
  const Outcome allowed = run_program(flagged);
  EXPECT_EQ(allowed.status, 0) << allowed.err;
  EXPECT_THAT(allowed.out, HasSubstr("! the calibration of 'S plate cable' ended"));
  EXPECT_THAT(text_of(out), HasSubstr("calibration_expired\n"));
}

TEST(stations, instants_as_text_are_compared_too) {
  const TemporaryFolder folder;
  std::string first = "instant,uncertainty_s,temperature_c\n", second = "instant,uncertainty_s\n";
  for (int i = 0; i < 20; ++i) {
    first += fmt::format("2026-11-03T10:00:{:02d}.5000000000Z,1e-10,{}\n", i, 20 + i % 3);
    second += fmt::format("2026-11-03T10:00:{:02d}.50000000{:02d}Z,1e-10\n", i, 9 + 2 * (i % 2));
  }
  const Outcome outcome = run_program({app("agree"), folder.write("a.csv", first).string(),
                                       folder.write("b.csv", second).string(), "--distance", "0.3 m"});
  EXPECT_EQ(outcome.status, 0) << outcome.err;
  // 1 ns apart on average (0.9 and 1.1), and 0.3 m are 1.0007 ns: nothing left but the scatter.
  EXPECT_THAT(outcome.out, HasSubstr("The stations agree"));
  EXPECT_THAT(outcome.out, HasSubstr("no delays were taken out of a"));
}

}  // namespace
}  // namespace firstedge::test
