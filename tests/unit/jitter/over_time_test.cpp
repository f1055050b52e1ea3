// What the jitter analysis tells of a long run: blocks, time deviation, steps, warm-up; nothing of a short
// run.
#include "firstedge/jitter/over_time.hpp"

#include "firstedge/jitter/jitter.hpp"
#include "firstedge/jitter/run_blocks.hpp"
#include "firstedge/jitter/run_clock.hpp"

#include "support/random.hpp"
#include "support/result_parts.hpp"
#include "support/sentence_of.hpp"
#include "support/simulated_stamps.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <string>
#include <variant>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::cell_of;
using test::plot_of;
using test::table_of;
using testing::Contains;
using testing::HasSubstr;
using testing::Not;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
const JitterOptions quick{.bootstrap = {.resamples = 40}};
const Instant begin = parse_instant("2026-11-25T06:37:00Z", TimeScale::utc, "test");

// Stamps of two channels of 20 ps each, the first moved by a delay at each record.
std::vector<Stamp> moved(std::size_t records, const std::function<double(double)>& delay_s) {
  std::vector<Stamp> stamps = test::normal_stamps({20e-12, 20e-12}, records, 3);
  for (Stamp& stamp : stamps)
    if (stamp.channel == 0) stamp.time_s += delay_s(static_cast<double>(stamp.record));
  return stamps;
}

JitterStamps gathered(const std::vector<Stamp>& stamps, const std::vector<RecordInstant>& triggers = {}) {
  JitterStamps columns({"S1", "S2"}, {"constant_fraction"});
  columns.add(stamps);
  for (const RecordInstant& trigger : triggers) columns.add_trigger(trigger);
  columns.settle();
  return columns;
}

std::vector<RecordInstant> every(double interval_s, std::size_t records) {
  std::vector<RecordInstant> triggers;
  for (std::size_t record = 0; record < records; ++record)
    triggers.push_back({record, advanced(begin, interval_s * static_cast<double>(record))});
  return triggers;
}

double still(double) {
  return 0;
}

PairSample sample_of(const JitterStamps& stamps) {
  return pair_sample(stamps, 0, 0, 1, {});
}

bool has_table(const Result& result, const std::string& key) {
  return std::any_of(result.tables.begin(), result.tables.end(),
                     [&](const Table& table) { return table.key == key; });
}

bool has_plot(const Result& result, const std::string& key) {
  return std::any_of(result.plots.begin(), result.plots.end(),
                     [&](const Plot& plot) { return plot.key == key; });
}

TEST(over_time, a_short_run_has_no_such_part_and_keeps_its_plot_along_the_run) {
  const Result result = analyse_jitter(gathered(moved(255, still)), quick);
  EXPECT_FALSE(has_table(result, "over_time"));
  EXPECT_TRUE(has_plot(result, "drift_1"));
  JitterOptions off = quick;
  off.over_time.most_blocks = 0;
  EXPECT_FALSE(has_table(analyse_jitter(gathered(moved(400, still)), off), "over_time"));
}

TEST(over_time, a_run_that_stands_still_raises_no_warning) {
  const Result result = analyse_jitter(gathered(moved(2000, still)), quick);
  EXPECT_TRUE(result.warnings.empty()) << testing::PrintToString(result.warnings);
  EXPECT_TRUE(table_of(result, "course").rows.empty());
  EXPECT_TRUE(has_plot(result, "course_1"));
  EXPECT_FALSE(has_plot(result, "drift_1"));
  EXPECT_EQ(cell_of(table_of(result, "over_time"), 0, "blocks").value, 500);
}

// Pairs without memory: the time deviation of means of n pairs is the scatter over sqrt(n) (SP 1065: TDEV of
// white phase noise).
TEST(over_time, the_time_deviation_of_independent_pairs_falls_as_the_root_of_their_number) {
  const Result result = analyse_jitter(gathered(moved(4000, still)), quick);
  const Table& table = table_of(result, "time_deviations");
  const Table& allan = table_of(result, "allan_deviations");
  const double sigma = std::sqrt(2.0) * 20e-12;
  for (std::size_t row = 0; row < 6; ++row) {
    const double pairs = cell_of(table, row, "averaging_time").value;
    const double freedom = cell_of(table, row, "degrees_of_freedom").value;
    // Four standard errors of a deviation with these degrees of freedom.
    EXPECT_NEAR(cell_of(table, row, "deviation").value / (sigma / std::sqrt(pairs)), 1,
                4 / std::sqrt(2 * freedom));
    EXPECT_LT(cell_of(table, row, "low").value, cell_of(table, row, "deviation").value);
    EXPECT_GT(cell_of(table, row, "high").value, cell_of(table, row, "deviation").value);
    // Allan deviation of white phase noise: sqrt 3 times the deviation of a block over the averaging time.
    const double of_block = sigma / std::sqrt(4.0);
    EXPECT_NEAR(cell_of(allan, row, "deviation").value * pairs / (std::sqrt(3.0) * of_block), 1, 0.3);
  }
  const Plot& plot = plot_of(result, "time_deviation_1");
  EXPECT_TRUE(plot.x.logarithmic && plot.y.logarithmic);
  ASSERT_EQ(plot.series.size(), 2U);
  EXPECT_EQ(plot.series[0].y_low.size(), plot.series[0].y.size());
}

TEST(over_time, a_step_is_told_with_its_size_and_record) {
  const auto step = [](double record) { return record >= 1200 ? 25e-12 : 0; };
  const Result result = analyse_jitter(gathered(moved(3000, step)), quick);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("S1 − S2: along the run the difference steps by (2")));
  const Table& course = table_of(result, "course");
  ASSERT_EQ(course.rows.size(), 1U);
  EXPECT_EQ(std::get<std::string>(course.rows[0][1]), "step");
  const Estimate size = cell_of(course, 0, "size");
  EXPECT_NEAR(size.value, 25e-12, 4 * size.uncertainty);
  EXPECT_LE(cell_of(course, 0, "at_low").value, 1200);
  EXPECT_GE(cell_of(course, 0, "at_high").value, 1200);
  for (const Table& table : result.tables) {
    for (const auto& row : table.rows) EXPECT_EQ(row.size(), table.columns.size()) << table.key;
  }
  const Plot& plot = plot_of(result, "course_1");
  ASSERT_EQ(plot.markers.size(), 1U);
  EXPECT_NEAR(plot.markers[0].at, 1200, 20);
  EXPECT_EQ(plot.series.size(), 2U);
}

TEST(over_time, a_warm_up_is_told_in_the_time_of_the_triggers) {
  // Two records a second, settling by 40 ps with 200 s.
  const auto warm = [](double record) { return 40e-12 * std::exp(-0.5 * record / 200); };
  const Result result = analyse_jitter(gathered(moved(4000, warm), every(0.5, 4000)), quick);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("the difference settles from 2026-11-25T06:37:00 UTC on")));
  const Table& course = table_of(result, "course");
  ASSERT_EQ(course.rows.size(), 1U);
  const Estimate size = cell_of(course, 0, "size");
  const Estimate tau = cell_of(course, 0, "time_constant");
  EXPECT_NEAR(size.value, 40e-12, 4 * size.uncertainty);
  EXPECT_NEAR(tau.value, 200, 4 * tau.uncertainty);
  EXPECT_LT(tau.uncertainty, 60);
  EXPECT_EQ(course.columns[2].unit, "s");
}

TEST(over_time, an_even_drift_is_told_by_the_hour) {
  const auto drift = [](double record) { return 50e-12 * record / 2000; };
  const Result timed = analyse_jitter(gathered(moved(2000, drift), every(3.6, 2000)), quick);
  EXPECT_THAT(timed.warnings, Contains(HasSubstr("an hour, in all by")));  // 25 ps an hour
  const Result numbered = analyse_jitter(gathered(moved(2000, drift)), quick);
  EXPECT_THAT(numbered.warnings, Contains(HasSubstr("in 1000 records")));
  EXPECT_NEAR(cell_of(table_of(numbered, "course"), 0, "size").value, 50e-12, 10e-12);
}

TEST(over_time, a_wander_is_told) {
  test::Random random(5);
  std::vector<double> level{0};
  for (int record = 0; record < 2000; ++record) level.push_back(level.back() + random.normal(0, 4e-12));
  const auto wander = [&](double record) { return level[static_cast<std::size_t>(record)]; };
  const Result result = analyse_jitter(gathered(moved(2000, wander)), quick);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("wanders, by some")));
  // Four records a block: the level moves by 8 ps from block to block; the fit has 500 of them.
  EXPECT_NEAR(cell_of(table_of(result, "over_time"), 0, "wander").value, 8e-12, 3e-12);
}

TEST(over_time, wild_differences_are_left_out_and_counted) {
  std::vector<Stamp> stamps = moved(1000, still);
  for (std::size_t record = 50; record < 1000; record += 100) stamps[2 * record].time_s += 1e-8;
  const JitterStamps columns = gathered(stamps);
  const PairSample sample = sample_of(columns);
  const RunBlocks blocks = run_blocks(sample, RunClock(columns, {}), 100);
  EXPECT_EQ(blocks.wild, 10U);
  EXPECT_EQ(blocks.used, 990U);
  for (const double mean : blocks.mean_s) EXPECT_LT(std::abs(mean + 1e-9), 60e-12);
  EXPECT_NEAR(blocks.scatter_s, std::sqrt(2.0) * 20e-12, 4e-12);  // four times 3.5 %
}

TEST(over_time, missing_records_leave_gaps_and_pauses_do_not_swallow_the_run) {
  std::vector<Stamp> stamps = moved(1000, still);
  for (Stamp& stamp : stamps)
    if (stamp.record >= 500) stamp.record += 20'000;
  const JitterStamps columns = gathered(stamps);
  const RunBlocks blocks = run_blocks(sample_of(columns), RunClock(columns, {}), 256);
  EXPECT_EQ(blocks.used, 1000U);
  // 21,000 records in at most 8 * 256 blocks of 11 records.
  EXPECT_EQ(blocks.length, 11);
  EXPECT_EQ(blocks.filled(), 93U);
  EXPECT_TRUE(std::isnan(blocks.mean_s[1000]));
  EXPECT_TRUE(std::isnan(blocks.relative_variance()[1000]));
  const Result result = analyse_jitter(columns, quick);
  EXPECT_THAT(result.cautions, Contains(HasSubstr("blocks of the run are empty")));
}

TEST(run_clock, goes_by_instants_where_they_are_sound) {
  const std::vector<Stamp> stamps = moved(300, still);
  std::vector<RecordInstant> triggers = every(2, 300);
  const auto clock = [&] {
    const JitterStamps columns = gathered(stamps, triggers);
    const std::vector<PairSample> samples{sample_of(columns)};
    return RunClock(columns, samples);
  };
  EXPECT_TRUE(clock().by_time());
  EXPECT_EQ(clock().place(100), 200);
  EXPECT_TRUE(std::isnan(clock().place(300)));
  EXPECT_EQ(clock().words_of_place(75), "2026-11-25T06:38:15 UTC");
  std::reverse(triggers.begin(), triggers.end());  // the order of adding does not matter
  EXPECT_TRUE(clock().by_time());

  triggers = every(2, 300);
  triggers[7].instant = advanced(begin, -1);
  EXPECT_THAT(clock().refusal(), HasSubstr("backwards at record 7"));
  EXPECT_EQ(clock().place(100), 100);
  EXPECT_EQ(clock().words_of_place(100), "record 100");
  triggers = every(2, 300);
  triggers[7].instant.scale = TimeScale::tai;
  EXPECT_THAT(clock().refusal(), HasSubstr("another time scale"));
  triggers[7].instant = {TimeScale::utc, std::numeric_limits<std::int64_t>::max(), -5};
  EXPECT_THAT(clock().refusal(), HasSubstr("no date"));
  triggers = every(0, 300);
  EXPECT_THAT(clock().refusal(), HasSubstr("no time"));
  triggers = every(2, 200);
  EXPECT_THAT(clock().refusal(), HasSubstr("only 200 of the 300"));
  triggers.clear();
  EXPECT_FALSE(clock().by_time());
  EXPECT_EQ(clock().refusal(), "");
}

TEST(over_time, instants_that_cannot_be_used_are_told) {
  std::vector<RecordInstant> triggers = every(2, 300);
  triggers[9].instant = advanced(begin, -1);
  const Result result = analyse_jitter(gathered(moved(300, still), triggers), quick);
  EXPECT_THAT(result.cautions, Contains(HasSubstr("backwards at record 9")));
  EXPECT_EQ(table_of(result, "over_time").columns[3].unit, "");
}

TEST(over_time, strange_runs_do_no_harm) {
  // All at one record number's neighbourhood, far out; equal times; few records with a time.
  std::vector<Stamp> stamps = moved(300, still);
  for (Stamp& stamp : stamps) stamp.record += std::numeric_limits<std::uint64_t>::max() - 1000;
  EXPECT_TRUE(has_table(analyse_jitter(gathered(stamps), quick), "over_time"));
  stamps = moved(300, still);
  for (Stamp& stamp : stamps) stamp.time_s = 1e-9;
  const Result equal = analyse_jitter(gathered(stamps), quick);
  EXPECT_EQ(cell_of(table_of(equal, "over_time"), 0, "scatter").value, 0);
  stamps = moved(300, still);
  stamps.back().record = std::numeric_limits<std::uint64_t>::max();
  stamps[598].record = stamps.back().record;
  EXPECT_TRUE(has_table(analyse_jitter(gathered(stamps), quick), "over_time"));
  stamps = moved(300, still);
  stamps[40].time_s = 1e300;
  stamps[50].time_s = -1e300;
  EXPECT_TRUE(has_table(analyse_jitter(gathered(stamps), quick), "over_time"));
}

TEST(over_time, senseless_options_are_refused_in_one_sentence) {
  const JitterStamps stamps = gathered(moved(300, still));
  JitterOptions options = quick;
  options.over_time.most_blocks = 5;
  EXPECT_THAT(test::sentence_of([&] { analyse_jitter(stamps, options); }), HasSubstr("5 blocks at most"));
  options = quick;
  options.over_time.coverage = 0;
  EXPECT_THAT(test::sentence_of([&] { analyse_jitter(stamps, options); }), HasSubstr("coverage"));
}

TEST(over_time, the_same_run_gives_the_same_bits_whatever_the_order_of_its_stamps) {
  const auto warm = [](double record) { return 30e-12 * std::exp(-record / 150); };
  std::vector<Stamp> stamps = moved(1000, warm);
  const Result before = analyse_jitter(gathered(stamps, every(1, 1000)), quick);
  std::reverse(stamps.begin(), stamps.end());
  std::vector<RecordInstant> triggers = every(1, 1000);
  std::reverse(triggers.begin(), triggers.end());
  const Result after = analyse_jitter(gathered(stamps, triggers), quick);
  for (const char* key : {"time_deviation_1", "course_1"}) {
    EXPECT_EQ(plot_of(before, key).series[0].y, plot_of(after, key).series[0].y);
    EXPECT_EQ(plot_of(before, key).series[0].x, plot_of(after, key).series[0].x);
  }
  EXPECT_EQ(before.warnings, after.warnings);
}

}  // namespace
}  // namespace firstedge
