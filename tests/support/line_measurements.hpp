// Simulated measurements of lines, gathered as the delay room wants them.
#pragma once

#include "firstedge/delay/pair_average.hpp"
#include "firstedge/signal/conditioning.hpp"
#include "firstedge/simulate/simulation.hpp"

#include <string>
#include <utility>

namespace firstedge::test {

/// A pulse of 0.9 ns edge at 5 GS/s and 12 bit, 60 times over white noise, as a plan with one channel.
inline SimulationPlan pulse_plan(std::uint64_t seed, std::size_t samples, double noise_v = 1e-3) {
  SimulationPlan plan;
  plan.seed = seed;
  plan.samples = samples;
  plan.first_sample_s = -20e-9;
  ChannelPlan channel;
  channel.name = "before";
  channel.heights.height_v = 0.06;
  channel.noise.white_v = noise_v;
  channel.digitizer = {.bits = 12, .full_scale_v = 0.2, .offset_v = 0};
  plan.channels = {channel};
  return plan;
}

/// The same with a second channel behind a line.
inline SimulationPlan through_plan(std::uint64_t seed, std::size_t samples, const LinePlan& line,
                                   double noise_v = 1e-3) {
  SimulationPlan plan = pulse_plan(seed, samples, noise_v);
  ChannelPlan after = plan.channels[0];
  after.name = "after";
  after.shape.line = line;
  plan.channels.push_back(after);
  return plan;
}

/// The same with one channel at the near end of a line.
inline SimulationPlan reflection_plan(std::uint64_t seed, std::size_t samples, LinePlan line,
                                      double noise_v = 1e-3) {
  SimulationPlan plan = pulse_plan(seed, samples, noise_v);
  line.seen = LinePlan::Seen::near_end;
  plan.channels[0].name = "near_end";
  plan.channels[0].shape.line = line;
  plan.channels[0].digitizer.full_scale_v = 0.3;
  return plan;
}

/// White noise with that of rounding to counts.
inline AverageHead head_of(const SimulationPlan& plan, std::size_t channel) {
  const ChannelPlan& planned = plan.channels[channel];
  const double step_v =
      planned.digitizer.bits == 0 ? 0 : planned.digitizer.full_scale_v / std::exp2(planned.digitizer.bits);
  const double noise_v = std::hypot(planned.noise.white_v, step_v / std::sqrt(12.0));
  return {planned.name, plan.interval_s, plan.first_sample_s, white_noise(noise_v, plan.interval_s)};
}

inline std::vector<double> conditioned_volts(const Trace& trace) {
  ConditioningOptions options;
  options.baseline.window_s = {trace.first_sample_s, -2e-9};
  return condition(trace, options).volts;
}

inline PairAverage through_average(const SimulationPlan& plan, std::size_t records) {
  const Simulation simulation(plan);
  PairAverage average(head_of(plan, 0), head_of(plan, 1), plan.samples);
  for (const Record& record : simulation.records(0, records).block.records)
    average.add(conditioned_volts(record.traces[0]), conditioned_volts(record.traces[1]));
  return average;
}

inline TraceAverage trace_average(const SimulationPlan& plan, std::size_t records) {
  const Simulation simulation(plan);
  TraceAverage average(head_of(plan, 0), plan.samples);
  for (const Record& record : simulation.records(0, records).block.records)
    average.add(conditioned_volts(record.traces[0]));
  return average;
}

}  // namespace firstedge::test
