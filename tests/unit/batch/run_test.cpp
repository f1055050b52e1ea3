// Claims of the batch room: same bits for any threads and block size, nothing dropped without a count,
// learning from the first records alone.
#include "firstedge/batch/run.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/estimate.hpp"

#include "support/result_parts.hpp"
#include "support/small_bench.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::small_bench;
using test::write_run;

Setup three_methods(std::size_t learning_records = 200) {
  Setup setup = parse_setup(test::small_bench_setup, "test");
  setup.learning_records = learning_records;
  return setup;
}

TEST(stamp_run, the_table_is_the_same_bit_for_bit_for_any_threads_and_block_size) {
  const test::TemporaryFolder folder;
  write_run(small_bench(400), folder / "run.h5");
  std::string first;
  for (const auto& [threads, block] :
       {std::pair{1, std::size_t{256}}, {2, std::size_t{1}}, {5, std::size_t{7}}, {2, std::size_t{100000}}}) {
    stamp_run({folder / "run.h5"}, three_methods(), folder / "stamps.h5", {},
              {.threads = threads, .records_in_block = block, .templates = {}, .progress = {}});
    const std::string digest = sha256_of_file(folder / "stamps.h5");
    if (first.empty()) first = digest;
    EXPECT_EQ(digest, first) << threads << " threads, blocks of " << block;
  }
}

TEST(stamp_run, every_pulse_of_every_record_has_a_stamp_by_every_method_and_is_counted) {
  const test::TemporaryFolder folder;
  const SimulationPlan plan = small_bench(300);
  write_run(plan, folder / "run.h5");
  const RunSummary summary = stamp_run({folder / "run.h5"}, three_methods(), folder / "stamps.h5", {}, {});
  EXPECT_EQ(summary.records, 300U);
  EXPECT_EQ(summary.stamps, 300U * 2 * 3);  // heights are 25 times the noise and more: no pulse is missed
  ASSERT_EQ(summary.methods.size(), 3U);
  EXPECT_EQ(summary.methods[0].name, "constant_fraction");

  StampTableReader table(folder / "stamps.h5");
  EXPECT_EQ(table.size(), summary.stamps);
  EXPECT_EQ(table.triggers().size(), 300U);
  const std::vector<Stamp> truth = Simulation(plan).records(0, 300).truth;
  std::size_t near = 0, seen = 0;
  for (std::vector<Stamp> block = table.next_block(1000); !block.empty(); block = table.next_block(1000)) {
    for (const Stamp& stamp : block) {
      const Stamp& true_stamp = truth[stamp.record * 2 + stamp.channel];
      EXPECT_EQ(stamp.polarity, true_stamp.polarity);
      ++seen;
      near += std::abs(stamp.time_s - true_stamp.time_s) < 1e-9 ? 1 : 0;
    }
  }
  EXPECT_EQ(seen, summary.stamps);
  EXPECT_EQ(near, seen);
}

TEST(stamp_run, learning_knows_the_first_records_alone) {
  const test::TemporaryFolder folder;
  write_run(small_bench(150), folder / "short.h5");
  write_run(small_bench(300), folder / "long.h5");
  stamp_run({folder / "short.h5"}, three_methods(150), folder / "short.stamps.h5", {}, {});
  stamp_run({folder / "long.h5"}, three_methods(150), folder / "long.stamps.h5", {}, {});
  StampTableReader brief(folder / "short.stamps.h5"), whole(folder / "long.stamps.h5");
  const std::vector<Stamp> a = brief.next_block(10000), b = whole.next_block(10000);
  ASSERT_LT(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) ASSERT_EQ(a[i].time_s, b[i].time_s);
}

TEST(stamp_run, learns_a_walk_correction_for_the_methods_that_ask_for_one) {
  const test::TemporaryFolder folder;
  const SimulationPlan plan = small_bench(800);
  write_run(plan, folder / "run.h5");
  const firstedge::Setup setup = parse_setup(
      R"({"learning_records": 400, "every_channel": {"baseline": {"method": "mean", "window": ["-29 ns", "-2 ns"]},
          "timing": [{"method": "leading_edge", "threshold": "25 mV"},
                     {"method": "leading_edge", "threshold": "25 mV", "walk": "height"}]}})",
      "test");
  const RunSummary summary = stamp_run({folder / "run.h5"}, setup, folder / "stamps.h5", {}, {});
  ASSERT_EQ(summary.methods.size(), 2U);
  EXPECT_NE(summary.methods[1].settings.find("walk=height"), std::string::npos);
  ASSERT_TRUE(summary.channels[0].walks[1]);
  EXPECT_FALSE(summary.channels[0].walks[0]);
  EXPECT_GE(summary.channels[0].walks[1]->walk.points_used, 350U);

  // Against the truth, of the records that nothing was learnt from: high pulses less low ones.
  const std::vector<Stamp> truth = Simulation(plan).records(0, plan.records).truth;
  StampTableReader table(folder / "stamps.h5");
  std::array<std::array<double, 2>, 2> sums{}, counts{};
  for (const Stamp& stamp : table.next_block(10000)) {
    const Stamp& true_stamp = truth[stamp.record * 2 + stamp.channel];
    if (stamp.record < 400) continue;
    const std::size_t high = true_stamp.height_v > 0.15 ? 1 : 0;
    sums[stamp.method][high] += stamp.time_s - true_stamp.time_s;
    counts[stamp.method][high] += 1;
  }
  const auto walk = [&](std::size_t method) {
    return sums[method][0] / counts[method][0] - sums[method][1] / counts[method][1];
  };
  EXPECT_GT(walk(0), 100e-12);
  // Some 220 low pulses of 30 ps each: 2 ps, twice for the pulses learnt from; four of that.
  EXPECT_LT(std::abs(walk(1)), 12e-12);
}

TEST(stamp_run, a_walk_correction_that_cannot_be_learnt_anywhere_is_refused) {
  const test::TemporaryFolder folder;
  write_run(small_bench(60), folder / "run.h5");
  firstedge::Setup setup = parse_setup(
      R"({"learning_records": 20, "every_channel": {"baseline": {"method": "mean", "window": ["-29 ns", "-2 ns"]},
          "timing": [{"method": "leading_edge", "threshold": "25 mV", "walk": "slew"}]}})",
      "test");
  try {
    stamp_run({folder / "run.h5"}, setup, folder / "stamps.h5", {}, {});
    ADD_FAILURE();
  } catch (const Error& error) {
    EXPECT_NE(std::string(error.what()).find("pulses can serve"), std::string::npos) << error.what();
  }
}

TEST(stamp_run, a_pulse_that_a_method_finds_itself_has_a_number_beyond_those_of_the_search) {
  const test::TemporaryFolder folder;
  SimulationPlan plan = small_bench(600);
  for (ChannelPlan& channel : plan.channels) {
    channel.heights = {.kind = HeightPlan::Kind::fixed, .height_v = 0.3};
    channel.second_pulse_rate_hz = 3e7;
  }
  write_run(plan, folder / "run.h5");
  const RunSummary summary = stamp_run({folder / "run.h5"}, three_methods(), folder / "stamps.h5", {}, {});
  StampTableReader table(folder / "stamps.h5");
  std::map<std::tuple<std::uint64_t, int, int>, std::array<bool, 3>> seen;
  for (const Stamp& stamp : table.next_block(100000))
    seen[{stamp.record, stamp.channel, stamp.pulse}][stamp.method] = true;
  std::size_t further = 0;
  for (const auto& [key, methods] : seen) {
    EXPECT_TRUE(methods[2]);  // the template fit stamps them all
    further += methods[0] ? 0 : 1;
    EXPECT_EQ(methods[0], methods[1]);
  }
  EXPECT_GT(further, 10U);
  EXPECT_EQ(summary.stamps, 3 * seen.size() - 2 * further);
}

TEST(stamp_run, a_channel_that_the_run_does_not_have_is_refused_by_name) {
  const test::TemporaryFolder folder;
  write_run(small_bench(50), folder / "run.h5");
  firstedge::Setup setup = three_methods();
  setup.channels.push_back({.name = "c"});
  try {
    stamp_run({folder / "run.h5"}, setup, folder / "stamps.h5", {}, {});
    FAIL();
  } catch (const Error& error) {
    EXPECT_STREQ(error.what(), "setup, channel 'c': is not in the run; the run has a, b");
  }
  EXPECT_FALSE(std::filesystem::exists(folder / "stamps.h5"));
}

TEST(stamp_run, the_answer_says_how_many_pulses_were_timed_and_how_well) {
  const test::TemporaryFolder folder;
  write_run(small_bench(200), folder / "run.h5");
  const RunSummary summary = stamp_run({folder / "run.h5"}, three_methods(), folder / "stamps.h5", {}, {});
  std::map<std::pair<int, int>, std::vector<double>> uncertainties_s;
  StampTableReader table(folder / "stamps.h5");
  for (const Stamp& stamp : table.next_block(10'000))
    uncertainties_s[{stamp.channel, stamp.method}].push_back(stamp.uncertainty_s);
  ASSERT_EQ(uncertainties_s.size(), 6U);
  const Result result = summary_of(summary, {});
  std::vector<std::pair<double, std::string>> medians;
  for (auto& [cell, values_s] : uncertainties_s) {
    std::sort(values_s.begin(), values_s.end());
    const double lower_median_s = values_s.at((values_s.size() - 1) / 2);
    const double shown_s =
        test::cell_of(test::table_of(result, "stamps"), medians.size(), "uncertainty").value;
    EXPECT_NEAR(shown_s / lower_median_s, 1, running_median_error);
    medians.emplace_back(shown_s,
                         fmt::format("{} ({} by {})", format_quantity(shown_s, "s", 3),
                                     summary.channels[cell.first].name, summary.methods[cell.second].name));
  }
  std::sort(medians.begin(), medians.end());
  EXPECT_EQ(
      result.answer,
      fmt::format("400 pulses timed in 200 records of 2 channels, with a typical standard uncertainty from "
                  "{} to {}.",
                  medians.front().second, medians.back().second));
}

TEST(stamp_run, a_run_without_a_pulse_says_so) {
  const test::TemporaryFolder folder;
  SimulationPlan plan = small_bench(200);
  for (ChannelPlan& channel : plan.channels) channel.efficiency = 0;
  write_run(plan, folder / "run.h5");
  const firstedge::Setup setup = parse_setup(
      R"({"every_channel": {"timing": [{"method": "leading_edge", "threshold": "25 mV"}]}})", "test");
  const RunSummary summary = stamp_run({folder / "run.h5"}, setup, folder / "stamps.h5", {}, {});
  EXPECT_EQ(summary_of(summary, {}).answer, "No pulse timed in 200 records of 2 channels.");
}

TEST(stamp_run, a_dead_channel_does_not_stop_the_others) {
  const test::TemporaryFolder folder;
  SimulationPlan plan = small_bench(200);
  plan.channels[1].efficiency = 0;
  plan.channels[1].noise = {};
  write_run(plan, folder / "run.h5");
  const RunSummary summary = stamp_run({folder / "run.h5"}, three_methods(), folder / "stamps.h5", {}, {});
  EXPECT_EQ(summary.cells[0][2].stamps, 200U);
  EXPECT_EQ(summary.cells[1][2].stamps, 0U);
  EXPECT_EQ(summary.channels[1].pulse_template, nullptr);
}

TEST(at_interval, the_covariance_is_read_at_the_new_lags) {
  const NoiseModel noise{.interval_s = 1e-10, .autocovariance_v2 = {4, 2, 1, 0.5}, .samples_used = 100};
  const NoiseModel wide = at_interval(noise, 2e-10);
  ASSERT_EQ(wide.autocovariance_v2.size(), 2U);
  EXPECT_DOUBLE_EQ(wide.autocovariance_v2[0], 4);
  EXPECT_DOUBLE_EQ(wide.autocovariance_v2[1], 1);
  const NoiseModel fine = at_interval(noise, 0.5e-10);
  EXPECT_DOUBLE_EQ(fine.autocovariance_v2[1], 3);
}

}  // namespace
}  // namespace firstedge
