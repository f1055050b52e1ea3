// firstedge-clock as a person uses it: times converted, a counter tied to UTC, two and three stations
// compared.
#include "firstedge/clock/counter_clock.hpp"
#include "firstedge/io/stamp_table.hpp"

#include "support/program.hpp"
#include "support/published_leap_seconds.hpp"
#include "support/simulated_counter.hpp"
#include "support/skerry_tracks.hpp"

#include <cmath>
#include <map>
#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace firstedge::test {
namespace {

using nlohmann::json;
using testing::HasSubstr;

const LeapSeconds leap = leap_seconds_of_2026();

double figure(const json& result, const std::string& key) {
  return result.at("figures").at(key).at("value").get<double>();
}

TEST(clock_app, converts_times_around_a_leap_second) {
  const Outcome outcome =
      run_program({app("clock"), "convert", "2016-12-31T23:59:60.5Z", "MJD 57754", "week 1930 second 17.5"});
  EXPECT_EQ(outcome.status, 0) << outcome.err;
  EXPECT_THAT(outcome.out, HasSubstr("2017-01-01T00:00:36.500000000000000 TAI"));
  EXPECT_THAT(outcome.out, HasSubstr("week 1930 second 17.500000000000000"));
  EXPECT_THAT(outcome.out, HasSubstr("57754.00000000000000000000"));
  EXPECT_THAT(outcome.out, HasSubstr("good until"));
  // The third is the first in other words.
  const std::string utc = "2016-12-31T23:59:60.500000000000000Z";
  const std::size_t first = outcome.out.find(utc);
  EXPECT_NE(outcome.out.find(utc, first + 1), std::string::npos);
}

TEST(clock_app, refuses_times_that_are_none) {
  for (const char* time : {"1971-12-31T00:00:00Z", "MJD x", "week 1 second 604800", "week 1", "yesterday",
                           "2015-12-31T23:59:60Z", "week 1 second 5."}) {
    const Outcome outcome = run_program({app("clock"), "convert", time});
    EXPECT_EQ(outcome.status, 2) << time;
    EXPECT_TRUE(outcome.out.empty());
    EXPECT_EQ(std::count(outcome.err.begin(), outcome.err.end(), '\n'), 1) << outcome.err;
  }
}

std::string text_of(const CounterReading& reading) {
  return std::to_string(reading.ticks) + fmt::format("{:.9f}", reading.fraction).substr(1);
}

// The columns of a comma-separated file, line by line.
std::vector<std::vector<std::string>> rows_of(const std::filesystem::path& file) {
  std::vector<std::vector<std::string>> rows;
  std::istringstream text(test::text_of(file));
  for (std::string line; std::getline(text, line);) {
    rows.emplace_back();
    std::istringstream fields(line + ",");
    for (std::string field; std::getline(fields, field, ',');) rows.back().push_back(field);
  }
  return rows;
}

TEST(clock_app, ties_a_counter_by_a_table_of_edges) {
  const TemporaryFolder folder;
  SimulatedCounter counter({.seed = 43});
  std::string edges = "# Skerry, invented\ncounter,second,correction\n", readings = "counter\n";
  for (std::size_t second = 0; second < 600; ++second) {
    if (second == 100) edges += "no edge at all,,\n";
    const SecondEdge edge = counter.edge(second);
    edges += text_of(edge.counter) + "," + (second % 60 == 0 ? to_text(*edge.label) : "") + ",0 ns\n";
  }
  for (std::size_t quarter = 41; quarter < 2400; quarter += 100)
    readings += text_of(counter.reading(quarter)) + "\n";
  const Outcome outcome = run_program(
      {app("clock"), "tie", folder.write("edges.csv", edges).string(), "--rate", "312.5e6", "--readings",
       folder.write("readings.csv", readings).string(), "--instants", (folder / "utc.csv").string(), "--json",
       (folder / "tie.json").string(), "--page", (folder / "tie.html").string()});
  EXPECT_EQ(outcome.status, 2) << "one line was bad";
  EXPECT_THAT(outcome.err, HasSubstr("edges.csv, line 103: 'no edge at all' is no counter reading"));
  EXPECT_THAT(outcome.err, HasSubstr("1 were left out"));
  EXPECT_TRUE(std::filesystem::exists(folder / "tie.html"));
  const json result = json::parse(test::text_of(folder / "tie.json"));
  // 600 innovations tell a deviation to 3 %; 3.3 of these.
  EXPECT_NEAR(figure(result, "edge_noise"), 5e-9, 0.5e-9);
  const auto rows = rows_of(folder / "utc.csv");
  ASSERT_EQ(rows.size(), 25U);
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const Instant utc = parse_instant(rows[i][1], TimeScale::utc, "utc.csv");
    const CounterInstant found{.tai = leap.tai_of_utc(utc)};
    const double uncertainty_s = std::stod(rows[i][2]);
    EXPECT_LT(uncertainty_s, 3e-9);
    EXPECT_LT(std::abs(counter.error_s(found, leap, 41 + 100 * (i - 1))), 5 * uncertainty_s);
  }
}

TEST(clock_app, ties_the_triggers_of_a_stamp_table_by_its_pulse_per_second) {
  const TemporaryFolder folder;
  // The digitizer's clock is 0.2 s late and 2e-6 fast; a pulse comes 30 ns after its trigger.
  const auto own_time = [](double true_s) { return true_s * (1 + 2e-6) - 0.2; };
  constexpr std::int64_t begin = 1'795'588'620;
  StampTableWriter table(
      folder / "stamps.h5",
      {.title = "Skerry", .channels = {{.name = "pps"}}, .methods = {{.name = "leading_edge"}}});
  for (std::uint64_t record = 0; record < 300; ++record) {
    const double own_s = own_time(static_cast<double>(record));
    const Instant trigger = advanced(Instant{TimeScale::utc, begin, 0}, own_s - 30e-9);
    const Stamp stamp{.record = record, .time_s = 30e-9};
    table.write(std::span(&stamp, 1), std::vector<TriggerRow>{{record, trigger}});
  }
  table.finish();
  const Outcome outcome = run_program({app("clock"), "tie", (folder / "stamps.h5").string(), "--channel",
                                       "pps", "--instants", (folder / "utc.csv").string()});
  EXPECT_EQ(outcome.status, 0) << outcome.err;
  const auto rows = rows_of(folder / "utc.csv");
  ASSERT_EQ(rows.size(), 301U);
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const Instant utc = parse_instant(rows[i][1], TimeScale::utc, "utc.csv");
    // Triggers 30 ns before each whole second; 'advanced' is given doubles of up to 300 s: 6e-14 s.
    EXPECT_NEAR(difference_s(utc, {TimeScale::utc, begin + static_cast<std::int64_t>(i) - 1, 0}), -30e-9,
                2e-13);
  }
  const Outcome wrong =
      run_program({app("clock"), "tie", (folder / "stamps.h5").string(), "--channel", "none"});
  EXPECT_EQ(wrong.status, 2);
  EXPECT_THAT(wrong.err, HasSubstr("has no channel 'none'; it has pps"));
}

TEST(clock_app, compares_stations_by_their_files) {
  const TemporaryFolder folder;
  const auto clock = [](std::size_t station, double t) {
    return station == 0 ? 120e-9 + 2e-13 * t : station == 1 ? -45e-9 : 30e-9;
  };
  const auto stations =
      skerry_tracks({.days = 5, .satellite_error_s = 20e-9, .same_sky = false}, {"SKN", "SKS", "SKW"}, clock);
  std::vector<std::string> words{app("clock"), "compare"};
  const std::vector<std::string> options{"--first", "--second", "--third"};
  for (std::size_t i = 0; i < 3; ++i) {
    words.push_back(options[i]);
    std::string text = cggtts_text(stations[i]);
    if (i == 1) text[text.size() - 40] = text[text.size() - 40] == '7' ? '8' : '7';  // one track damaged
    words.push_back(folder.write(stations[i].station + ".cgg", text).string());
  }
  words.insert(words.end(),
               {"--calibration-uncertainty", "2 ns", "--json", (folder / "stations.json").string(), "--page",
                (folder / "stations.html").string()});
  const Outcome outcome = run_program(words);
  EXPECT_EQ(outcome.status, 2) << outcome.err;
  EXPECT_THAT(outcome.err, HasSubstr("SKS.cgg, line "));
  EXPECT_THAT(outcome.err, HasSubstr("has the checksum"));
  EXPECT_THAT(outcome.out, HasSubstr("The clock of SKN was ("));
  const json result = json::parse(test::text_of(folder / "stations.json"));
  // At the middle of five days: 165 ns + 2e-13 x 216,000 s = 208.2 ns; the middle of the points may lie half
  // an hour off.
  EXPECT_NEAR(figure(result, "offset"), 208.2e-9, 1.0e-9);
  EXPECT_NEAR(figure(result, "type_b"), 2e-9, 1e-18);
  EXPECT_NEAR(figure(result, "rate"), 2e-13, 0.1e-13);
  EXPECT_LT(std::abs(figure(result, "closure")), 0.5e-9);
  EXPECT_TRUE(std::filesystem::exists(folder / "stations.html"));
}

TEST(clock_app, a_damaged_table_of_leap_seconds_is_refused) {
  const TemporaryFolder folder;
  std::string text = published_leap_second_text();
  text.replace(text.find("4023129600"), 10, "4923129600");
  const Outcome outcome = run_program({app("clock"), "convert", "2020-01-01T00:00:00Z", "--leap-seconds",
                                       folder.write("leap", text).string()});
  EXPECT_EQ(outcome.status, 2);
  EXPECT_THAT(outcome.err, HasSubstr("its numbers have the SHA-1"));
}

}  // namespace
}  // namespace firstedge::test
