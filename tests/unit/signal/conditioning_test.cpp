// Claims of the conditioning: counts to volts, limits and clipped runs kept, no sample poisons a trace,
// filters keep times.
#include "firstedge/signal/conditioning.hpp"

#include "firstedge/core/error.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <cmath>
#include <cstdint>
#include <limits>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::ElementsAre;

constexpr double interval_s = 0.2e-9;

Trace trace_of(const std::vector<std::int16_t>& counts) {
  return {.counts = std::span(counts),
          .interval_s = interval_s,
          .first_sample_s = -1e-9,
          .volts_per_count = 0.5e-3,
          .offset_v = 0.1,
          .lowest_count = -2048,
          .highest_count = 2047};
}

TEST(conditioning, counts_become_volts_over_the_baseline_with_their_limits) {
  std::vector<std::int16_t> counts(60, -40);
  counts[30] = 2047;
  counts[31] = 2047;
  counts[45] = -2048;
  const ConditionedTrace trace = condition(trace_of(counts), {});
  EXPECT_EQ(trace.interval_s, interval_s);
  EXPECT_EQ(trace.first_sample_s, -1e-9);
  EXPECT_DOUBLE_EQ(trace.step_v, 0.5e-3);
  EXPECT_NEAR(trace.baseline_v.value, 0.08, 1e-15);
  EXPECT_NEAR(trace.baseline_v.uncertainty, 0.5e-3 / std::sqrt(12.0), 1e-12);
  EXPECT_NEAR(trace.volts[30], 2087 * 0.5e-3, 1e-12);
  EXPECT_NEAR(trace.lowest_v, -2008 * 0.5e-3, 1e-12);
  EXPECT_NEAR(trace.highest_v, 2087 * 0.5e-3, 1e-12);
  EXPECT_THAT(trace.clipped, ElementsAre(SampleRange{30, 32}, SampleRange{45, 46}));
  EXPECT_EQ(trace.flags, FlagSet(Flag::coarse_counts));  // all of the baseline on one count
  EXPECT_EQ(trace.baseline_window.first, 0U);
}

TEST(conditioning, noise_far_below_a_count_is_flagged_also_behind_a_filter) {
  constexpr double step = 1.0 / 256;
  const std::vector<FilterOptions> smoothing{{.band = FilterOptions::Band::low_pass,
                                              .order = 4,
                                              .high_hz = 200e6,
                                              .pulse_template = {},
                                              .noise = {}}};
  for (const double counts : {0.2, 0.8}) {
    test::Random random(34);
    std::vector<std::int16_t> samples(400);
    for (auto& sample : samples) sample = static_cast<std::int16_t>(std::lround(random.normal(0.3, counts)));
    Trace recorded = trace_of(samples);
    recorded.volts_per_count = step;
    for (const auto& filters : {std::vector<FilterOptions>{}, smoothing}) {
      EXPECT_EQ(condition(recorded, {.baseline = {}, .filters = filters}).flags.has(Flag::coarse_counts),
                counts < 0.5)
          << counts << " " << filters.size();
    }
  }
}

TEST(conditioning, a_falling_scale_keeps_the_limits_in_order) {
  const std::vector<std::int16_t> counts(20, 3);
  Trace recorded = trace_of(counts);
  recorded.volts_per_count = -0.5e-3;
  const ConditionedTrace trace = condition(recorded, {});
  EXPECT_LT(trace.lowest_v, 0);
  EXPECT_GT(trace.highest_v, 0);
  EXPECT_DOUBLE_EQ(trace.step_v, 0.5e-3);
}

TEST(conditioning, samples_that_are_no_numbers_are_bridged_and_listed) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  std::vector<float> counts(40, 0.0F);
  for (std::size_t i = 20; i < 30; ++i) counts[i] = 0.1F * static_cast<float>(i - 19);
  counts[0] = nan;
  counts[25] = nan;
  counts[26] = std::numeric_limits<float>::infinity();
  counts[38] = 1e30F;
  counts[39] = nan;
  const Trace recorded{.counts = std::span<const float>(counts), .interval_s = interval_s};
  ConditioningOptions options;
  options.filters.push_back({.kind = FilterOptions::Kind::moving_average, .width_s = interval_s});
  for (const auto& filters : {options.filters, {}}) {
    const ConditionedTrace trace = condition(recorded, {.baseline = {}, .filters = filters});
    for (const double value : trace.volts) EXPECT_TRUE(std::isfinite(value));
    EXPECT_THAT(trace.clipped, ElementsAre(SampleRange{0, 1}, SampleRange{25, 27}, SampleRange{38, 40}));
    EXPECT_NEAR(trace.volts[25], 0.6, 1e-6);  // counts are floats
    EXPECT_NEAR(trace.volts[26], 0.7, 1e-6);
    EXPECT_NEAR(trace.volts[39] - trace.volts[37], 0, 1e-12);
    EXPECT_EQ(trace.step_v, 0);
  }
}

TEST(conditioning, coarse_counts_written_as_numbers_are_known_by_their_step) {
  constexpr double step = 0.8 / 256;
  for (const double printed : {0.0, 1e-4}) {  // as computed, or printed to 0.1 mV
    std::vector<double> volts =
        test::sampled(test::double_exponential(60e-9, 1e-9, 5e-9), 0.5, 800, interval_s);
    test::Random random(32);
    random.add_white_noise(volts, 0.2 * step);
    for (double& value : volts) {
      value = 0.011 + step * std::round(value / step);
      if (printed > 0) value = printed * std::round(value / printed);
    }
    const Trace recorded{.counts = std::span<const double>(volts), .interval_s = interval_s};
    const ConditionedTrace trace = condition(recorded, {});
    EXPECT_NEAR(trace.step_v, step, printed + 1e-12);
    // A baseline that stands on one count is known to step/sqrt(12), whatever its spread.
    EXPECT_NEAR(trace.baseline_v.uncertainty, step / std::sqrt(12.0), 0.1 * step);
    EXPECT_GT(trace.baseline_window.size(), 200U);
  }
  std::vector<double> fine = test::sampled(test::double_exponential(60e-9, 1e-9, 5e-9), 0.5, 800, interval_s);
  EXPECT_EQ(condition({.counts = std::span<const double>(fine), .interval_s = interval_s}, {}).step_v, 0);
  test::Random random(33);
  random.add_white_noise(fine, 1e-3);
  EXPECT_EQ(condition({.counts = std::span<const double>(fine), .interval_s = interval_s}, {}).step_v, 0);
}

TEST(conditioning, a_trace_without_any_number_or_sample_is_flagged) {
  const std::vector<float> counts(10, std::numeric_limits<float>::quiet_NaN());
  const ConditionedTrace none =
      condition({.counts = std::span<const float>(counts), .interval_s = interval_s}, {});
  EXPECT_TRUE(none.flags.has(Flag::no_baseline));
  EXPECT_THAT(none.volts, testing::Each(0.0));
  EXPECT_THAT(none.clipped, ElementsAre(SampleRange{0, 10}));
  ConditioningOptions options;
  options.filters.push_back({.kind = FilterOptions::Kind::butterworth, .high_hz = 400e6});
  const ConditionedTrace empty = condition(Trace{}, options);
  EXPECT_TRUE(empty.volts.empty());
  EXPECT_TRUE(empty.flags.has(Flag::no_baseline));
}

TEST(conditioning, prepared_once_it_gives_the_same_bits_as_each_time_anew) {
  test::Random random(31);
  std::vector<double> volts =
      test::sampled(test::double_exponential(20e-9, 1e-9, 5e-9), 0.3, 400, interval_s);
  random.add_white_noise(volts, 2e-3);
  ConditioningOptions options;
  options.filters.push_back({.kind = FilterOptions::Kind::bessel, .high_hz = 800e6});
  options.filters.push_back({.kind = FilterOptions::Kind::notch, .low_hz = 98e6, .zero_phase = false});
  const Trace recorded{.counts = std::span<const double>(volts), .interval_s = interval_s};
  const Conditioner conditioner(options, interval_s);
  EXPECT_EQ(conditioner(recorded).volts, condition(recorded, options).volts);
  Trace slower = recorded;
  slower.interval_s = 2 * interval_s;
  EXPECT_EQ(conditioner(slower).volts, condition(slower, options).volts);
  EXPECT_EQ(conditioner.filters().size(), 2U);
}

TEST(conditioning, a_causal_filter_moves_the_times_and_the_clipped_runs_back) {
  std::vector<std::int16_t> counts(400, 0);
  for (std::size_t i = 200; i < 206; ++i) counts[i] = 2047;
  ConditioningOptions options;
  options.filters.push_back(
      {.kind = FilterOptions::Kind::bessel, .order = 4, .high_hz = 200e6, .zero_phase = false});
  const Trace recorded = trace_of(counts);
  const ConditionedTrace trace = condition(recorded, options);
  const double delay_s = recorded.first_sample_s - trace.first_sample_s;
  EXPECT_GT(delay_s, 1e-9);
  ASSERT_EQ(trace.clipped.size(), 1U);
  EXPECT_NEAR(trace.time_s(static_cast<double>(trace.clipped[0].first)), recorded.time_s(200), interval_s);
  EXPECT_NEAR(trace.time_s(static_cast<double>(trace.clipped[0].last)), recorded.time_s(206), interval_s);
  double weight = 0, moment = 0;
  for (std::size_t i = 0; i < trace.volts.size(); ++i) {
    weight += trace.volts[i];
    moment += trace.volts[i] * trace.time_s(static_cast<double>(i));
  }
  // The centroid stays; what the record's end cuts off the response is below 1e-6 of it.
  EXPECT_NEAR(moment / weight, recorded.time_s(202.5), 0.5e-12);
}

TEST(conditioning, its_settings_are_those_of_its_parts) {
  Settings baseline("setup, baseline"), filter("setup, filters/0");
  baseline.set("method", "median");
  filter.set("kind", "gaussian");
  filter.set("width", "0.4 ns");
  const ConditioningOptions options = conditioning_options(baseline, {filter});
  EXPECT_EQ(options.baseline.method, BaselineOptions::Method::median);
  ASSERT_EQ(options.filters.size(), 1U);
  EXPECT_EQ(options.filters[0].kind, FilterOptions::Kind::gaussian);
  EXPECT_DOUBLE_EQ(options.filters[0].width_s, 0.4e-9);
}

}  // namespace
}  // namespace firstedge
