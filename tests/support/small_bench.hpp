// A small simulated bench of two channels as a file of records, and a Setup that stamps it by three methods.
#pragma once

#include "firstedge/io/record_writer.hpp"
#include "firstedge/simulate/simulation.hpp"

#include <cstdint>
#include <filesystem>

namespace firstedge::test {

inline SimulationPlan small_bench(std::uint64_t records) {
  SimulationPlan plan;
  plan.seed = 11;
  plan.records = records;
  plan.samples = 250;
  plan.start = Instant{TimeScale::utc, 1795588620, 0};
  for (const char* name : {"a", "b"}) {
    ChannelPlan channel;
    channel.name = name;
    channel.delay_s = channel.name == "b" ? 2e-9 : 0;
    channel.polarity = channel.name == "b" ? -1 : 1;
    channel.heights = {.kind = HeightPlan::Kind::uniform, .height_v = 0.05, .highest_v = 0.4};
    channel.noise.white_v = 2e-3;
    plan.channels.push_back(channel);
  }
  return plan;
}

inline void write_run(const SimulationPlan& plan, const std::filesystem::path& file) {
  RecordWriter writer(file, {.channels = {"a", "b"}, .attributes = {}});
  writer.write(Simulation(plan).records(0, plan.records).block);
  writer.finish();
}

/// Learns from 100 records.
inline constexpr const char* small_bench_setup = R"({"learning_records": 100, "every_channel": {
    "baseline": {"method": "mean", "window": ["-29 ns", "-2 ns"]},
    "timing": [{"method": "constant_fraction", "fraction": 0.3}, {"method": "leading_edge", "threshold": "25 mV"},
               {"method": "template_fit"}]}})";

}  // namespace firstedge::test
