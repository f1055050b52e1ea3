// Claims of inspect: what was planned is what is told, and what is doubtful is said in words.
#include "firstedge/inspect/inspect.hpp"

#include "firstedge/io/record_writer.hpp"
#include "firstedge/simulate/simulation.hpp"
#include "firstedge/stats/spread.hpp"

#include "support/result_parts.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

SimulationPlan bench() {
  SimulationPlan plan;
  plan.seed = 5;
  plan.records = 300;
  plan.samples = 1000;
  plan.first_sample_s = -120e-9;
  ChannelPlan good;
  good.name = "good";
  good.polarity = -1;
  good.baseline_v = 0.01;
  good.heights.height_v = 0.2;
  good.noise.white_v = 2e-3;
  good.noise.pick_up = {{.frequency_hz = 98e6, .amplitude_v = 2e-3}};
  ChannelPlan clipped = good;
  clipped.name = "clipped";
  clipped.heights.height_v = 0.7;
  ChannelPlan dead = good;
  dead.name = "dead";
  dead.efficiency = 0;
  dead.noise = {};
  plan.channels = {good, clipped, dead};
  return plan;
}

Inspection look_at(const SimulationPlan& plan) {
  const test::TemporaryFolder folder;
  RecordWriterOptions options;
  for (const ChannelPlan& channel : plan.channels) options.channels.push_back(channel.name);
  RecordWriter writer(folder / "run.h5", options);
  writer.write(Simulation(plan).records(0, plan.records).block);
  writer.finish();
  return inspect_run({folder / "run.h5"}, default_setup(), {});
}

double number(const Table& table, std::size_t row, const std::string& column) {
  return test::cell_of(table, row, column).value;
}

bool warns_of(const Result& result, const std::string& words) {
  return std::any_of(result.warnings.begin(), result.warnings.end(),
                     [&](const std::string& warning) { return warning.find(words) != std::string::npos; });
}

TEST(inspect_run, tells_what_was_planned) {
  const Inspection inspection = look_at(bench());
  const Table& channels = inspection.result.tables.at(0);
  const Table& pulses = inspection.result.tables.at(1);
  EXPECT_EQ(number(channels, 0, "traces"), 300);
  EXPECT_NEAR(number(channels, 0, "interval"), 0.2e-9, 1e-15);
  // The median of 300 baselines of 500 samples or so: 2 mV / sqrt(500) / sqrt(300) and one count of 0.24 mV
  // at most.
  EXPECT_NEAR(number(channels, 0, "baseline"), 0.01, 0.25e-3);
  // White noise of 2 mV and a sine of 2 mV peak: sqrt(4 + 2) mV; 2 % for the learning from 300 traces.
  EXPECT_NEAR(number(channels, 0, "noise"), std::sqrt(6.0) * 1e-3, 0.05e-3);
  EXPECT_NEAR(number(pulses, 0, "per_trace"), 1, 0.01);
  // The largest of some samples near the peak stands over it by a part of the noise.
  EXPECT_NEAR(number(pulses, 0, "height"), 0.2, 0.006);
  EXPECT_EQ(std::get<std::string>(pulses.rows[0][1]), "negative");
  // Pulses a trace over its 200 ns.
  EXPECT_NEAR(number(pulses, 0, "rate"), 1 / 200e-9, 0.02 / 200e-9);
}

TEST(inspect_run, says_what_is_doubtful) {
  const Inspection inspection = look_at(bench());
  EXPECT_TRUE(warns_of(inspection.result, "dead: every sample is the same"));
  EXPECT_TRUE(warns_of(inspection.result, "clipped: 100.0 % of the traces are clipped"));
  EXPECT_FALSE(warns_of(inspection.result, "good:"));
}

TEST(inspect_run, answers_with_height_and_noise_and_their_uncertainties) {
  const Result result = look_at(bench()).result;
  const auto words = [&](const char* figure) {
    return format_estimate(test::figure_of(result, figure), "V");
  };
  EXPECT_EQ(
      result.answer,
      fmt::format("1 file of format hdf5, 300 records looked at: good has pulses of typically {} over noise "
                  "of {}; clipped has no pulse whose height is seen, over noise of {}; dead does not move.",
                  words("height_0"), words("noise_0"), words("noise_1")));
}

TEST(inspect_run, of_many_channels_it_answers_with_the_least_and_the_most) {
  SimulationPlan plan = bench();
  plan.records = 100;
  plan.channels.pop_back();
  plan.channels[1].heights.height_v = 0.3;
  for (const char* name : {"small", "noisy"}) {
    plan.channels.push_back(plan.channels.front());
    plan.channels.back().name = name;
  }
  plan.channels[2].heights.height_v = 0.1;
  plan.channels[3].noise.white_v = 4e-3;
  const std::string answer = look_at(plan).result.answer;
  const std::size_t noise = answer.find(", noise (");
  EXPECT_NE(answer.find("4 channels, typical pulses ("), std::string::npos) << answer;
  EXPECT_LT(answer.find(" mV (small) to ("), answer.find(" mV (clipped), noise (")) << answer;
  EXPECT_NE(answer.find(" mV (noisy)."), std::string::npos) << answer;
  EXPECT_LT(noise, answer.find(" mV (noisy)."));
}

TEST(inspect_run, stated_uncertainties_are_what_runs_differ_by) {
  // Noise of the channel's band, whose samples are not independent, and heights that vary: 40 runs of 40
  // records.
  SimulationPlan plan = bench();
  plan.records = 40;
  plan.samples = 500;
  plan.first_sample_s = -60e-9;
  plan.channels.resize(1);
  plan.channels[0].noise = {.band_v = 2e-3};
  plan.channels[0].heights = {.kind = HeightPlan::Kind::uniform, .height_v = 0.1, .highest_v = 0.3};
  std::vector<double> noise_v, height_v;
  double stated_noise_v = 0, stated_height_v = 0;
  constexpr int runs = 40;
  for (int run = 0; run < runs; ++run) {
    plan.seed = 100 + static_cast<std::uint64_t>(run);
    const Result result = look_at(plan).result;
    const Estimate noise = test::figure_of(result, "noise_0");
    const Estimate height = test::figure_of(result, "height_0");
    noise_v.push_back(noise.value);
    height_v.push_back(height.value);
    stated_noise_v += noise.uncertainty / runs;
    stated_height_v += height.uncertainty / runs;
  }
  // A standard deviation of 40 values is known to 1/sqrt(78), 11 %; 3.3 of them are 37 %.
  EXPECT_NEAR(moments(noise_v).deviation.value / stated_noise_v, 1, 0.37);
  EXPECT_NEAR(moments(height_v).deviation.value / stated_height_v, 1, 0.37);
}

const Table* table_of(const Result& result, const std::string& key) {
  for (const Table& table : result.tables) {
    if (table.key == key) return &table;
  }
  return nullptr;
}

TEST(inspect_run, lists_the_pick_up_line_that_is_there) {
  const Inspection inspection = look_at(bench());
  const Table* lines = table_of(inspection.result, "pick_up");
  ASSERT_NE(lines, nullptr);
  ASSERT_FALSE(lines->rows.empty());
  const Estimate frequency = std::get<Estimate>(lines->rows[0][1]);
  EXPECT_NEAR(frequency.value, 98e6, 5e6);
  EXPECT_NEAR(number(*lines, 0, "amplitude"), 2e-3, 0.5e-3);
}

void write_bench(const SimulationPlan& plan, const std::filesystem::path& file) {
  RecordWriter writer(file, {.channels = {"good", "clipped", "dead"}, .attributes = {}});
  writer.write(Simulation(plan).records(0, plan.records).block);
  writer.finish();
}

TEST(inspect, a_line_that_channels_share_and_what_a_shield_does_to_it_are_told) {
  const test::TemporaryFolder folder;
  SimulationPlan shielded = bench();
  shielded.seed = 6;
  for (ChannelPlan& channel : shielded.channels) channel.noise.pick_up.clear();
  write_bench(bench(), folder / "open.h5");
  write_bench(shielded, folder / "shielded.h5");
  const Result result = inspect_run({folder / "open.h5"}, default_setup(), {},
                                    {.most_records = 300, .against = {folder / "shielded.h5"}})
                            .result;
  const Table* common = table_of(result, "common");
  ASSERT_NE(common, nullptr);
  ASSERT_EQ(common->rows.size(), 1U);  // good and clipped; the dead channel has none
  EXPECT_NEAR(std::get<Estimate>(common->rows[0][2]).value, 98e6, 1e6);
  EXPECT_GT(std::get<double>(common->rows[0][3]), 0.9);
  const Table* levels = table_of(result, "against");
  ASSERT_NE(levels, nullptr);
  // 2 mV of noise with a line of 2 mV amplitude, 1.41 mV rms: 10 lg(1 + 1/2) = 1.76 dB; 300 stretches of some
  // 550 samples know each rms to 0.2 %, 0.02 dB; the model tapers what lies beyond its lags: 0.2 dB.
  EXPECT_NEAR(std::get<double>(levels->rows[0][3]), 1.76, 0.2);
  const Table* lines = table_of(result, "against_lines");
  ASSERT_NE(lines, nullptr);
  // A line of amplitude A in a bin: A^2/2 over 1.5 bins of width, up to 1.4 dB less between two bins: with
  // segments of 512 samples 17 to 19.3 dB over the noise.
  EXPECT_NEAR(std::get<double>(lines->rows[0][4]), 18.5, 2);
}

}  // namespace
}  // namespace firstedge
