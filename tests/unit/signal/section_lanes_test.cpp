// Traces filtered side by side against each filtered alone.
#include "firstedge/signal/section_lanes.hpp"

#include "firstedge/signal/conditioning.hpp"

#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::vector<std::vector<double>> noisy_traces(std::size_t count, std::size_t samples) {
  std::mt19937 random(20261128);
  std::normal_distribution<double> volts(0.01, 0.002);
  std::vector<std::vector<double>> traces(count, std::vector<double>(samples));
  for (auto& trace : traces)
    for (double& v : trace) v = volts(random);
  return traces;
}

void expect_the_bits_of_each_alone(const FilterOptions& options) {
  const Filter filter(options, 0.2e-9);
  for (const std::size_t samples : {1, 2, 17, 300}) {
    for (const std::size_t count : {0, 1, 2, 3, 7, 8, 9, 19}) {
      const auto traces = noisy_traces(count, samples);
      const std::vector<Filtered> together = filter(std::span<const std::vector<double>>(traces));
      ASSERT_EQ(together.size(), count);
      for (std::size_t k = 0; k < count; ++k) {
        const Filtered alone = filter(traces[k]);
        EXPECT_EQ(together[k].volts, alone.volts) << "trace " << k << " of " << count << ", " << samples;
        EXPECT_EQ(together[k].delay_s, alone.delay_s);
      }
    }
  }
}

TEST(section_lanes, every_order_and_direction_has_the_bits_of_each_trace_alone) {
  for (int order = 1; order <= 12; ++order) {
    for (const bool zero_phase : {true, false}) {
      expect_the_bits_of_each_alone({.kind = FilterOptions::Kind::butterworth,
                                     .order = order,
                                     .high_hz = 400e6,
                                     .zero_phase = zero_phase});
    }
  }
}

TEST(section_lanes, kernels_have_the_bits_of_each_trace_alone) {
  expect_the_bits_of_each_alone({.kind = FilterOptions::Kind::gaussian, .width_s = 1e-9});
}

TEST(section_lanes, traces_conditioned_together_are_those_conditioned_alone) {
  const std::vector<std::vector<double>> volts = noisy_traces(11, 400);
  std::vector<Trace> traces;
  for (std::size_t k = 0; k < volts.size(); ++k) {
    // One of another length, one of another interval, one empty.
    std::span<const double> counts(volts[k]);
    if (k == 4) counts = counts.first(350);
    if (k == 9) counts = {};
    traces.push_back({.counts = counts, .interval_s = k == 6 ? 0.4e-9 : 0.2e-9});
  }
  const Conditioner conditioner(
      {.baseline = {},
       .filters =
           {{.kind = FilterOptions::Kind::butterworth, .order = 4, .high_hz = 300e6, .zero_phase = false},
            {.kind = FilterOptions::Kind::butterworth, .order = 8, .high_hz = 400e6}}},
      0.2e-9);
  const std::vector<ConditionedTrace> together = conditioner(std::span<const Trace>(traces));
  ASSERT_EQ(together.size(), traces.size());
  for (std::size_t k = 0; k < traces.size(); ++k) {
    const ConditionedTrace alone = conditioner(traces[k]);
    EXPECT_EQ(together[k].volts, alone.volts);
    EXPECT_EQ(together[k].first_sample_s, alone.first_sample_s);
    EXPECT_EQ(together[k].baseline_v.value, alone.baseline_v.value);
    EXPECT_EQ(together[k].baseline_v.uncertainty, alone.baseline_v.uncertainty);
    EXPECT_EQ(together[k].flags.bits(), alone.flags.bits());
  }
}

}  // namespace
}  // namespace firstedge
