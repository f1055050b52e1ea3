// Claims of the simulate room: the shape is the closed form, noise has the planned spread and spectrum, a run
// is the same however it is asked for, and the truth is true.
#include "firstedge/simulate/simulation.hpp"

#include "firstedge/core/error.hpp"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// exp(-t/tau) from t = 0 on, convolved with a unit Gaussian of standard deviation sigma (closed form,
// derived).
double smeared_exponential(double t, double tau, double sigma) {
  const double r = sigma / tau;
  return 0.5 * tau * std::exp(0.5 * r * r - t / tau) * std::erfc((r - t / sigma) / std::numbers::sqrt2) / tau;
}

SimulationPlan plan_of(double height_v = 0.1) {
  SimulationPlan plan;
  plan.seed = 7;
  plan.records = 40;
  plan.samples = 400;
  ChannelPlan channel;
  channel.name = "a";
  channel.heights.height_v = height_v;
  plan.channels = {channel};
  return plan;
}

TEST(chain_shape, equals_the_closed_form_of_sensor_and_gaussian_band) {
  const ShapePlan plan{.rise_s = 0.2e-9, .decay_s = 2e-9, .band_hz = 400e6};
  const ChainShape shape(plan, 0.2e-9);
  const double sigma = gaussian_response_s(plan.band_hz);
  const auto closed = [&](double t) {
    return smeared_exponential(t, plan.decay_s, sigma) - smeared_exponential(t, plan.rise_s, sigma);
  };
  const double peak = closed(shape.peak_s());
  for (double t = -2e-9; t < 20e-9; t += 0.0137e-9) {
    // The header promises 1e-7 of the peak.
    ASSERT_NEAR(shape(t), closed(t) / peak, 1e-7) << t;
  }
  EXPECT_NEAR(shape(shape.peak_s()), 1, 1e-7);
  EXPECT_NEAR(shape(shape.crossing_s(0.5)), 0.5, 1e-9);
}

TEST(chain_shape, gaussian_band_has_its_half_power_point_where_it_is_said) {
  // 0.13250518176 / f3dB: derived from |H|^2 = 1/2 for a Gaussian response.
  EXPECT_NEAR(gaussian_response_s(1.0), 0.13250518176, 1e-10);
}

TEST(chain_shape, skin_effect_step_follows_the_complementary_error_function) {
  // Wigington & Nahman, Proc. IRE 45 (1957) 166 (citation from memory; the Laplace pair of exp(-K sqrt s)/s):
  // the step response is erfc(K / (2 sqrt t)). A slow decay makes the pulse a step for a few ns.
  const double skin_s = 0.4e-9;
  const ShapePlan plan{.rise_s = 1e-15, .decay_s = 1e-6, .band_hz = 20e9, .low_cut_hz = 0, .skin_s = skin_s};
  const ChainShape shape(plan, 0.2e-9);
  const auto step = [&](double t) {
    return std::erfc(std::sqrt(skin_s) / (2 * std::sqrt(t))) * std::exp(-t / 1e-6);
  };
  const double scale = shape(4e-9) / step(4e-9);
  for (double t = 0.3e-9; t < 10e-9; t += 0.1e-9) {
    // The decay of 1 us acts before the cable, not after: 10 ns / 1 us of difference at most.
    EXPECT_NEAR(shape(t) / scale, step(t), 0.01) << t;
  }
}

TEST(simulation, a_run_is_the_same_whatever_stretch_is_asked_for) {
  SimulationPlan plan = plan_of();
  plan.channels[0].noise.band_v = 1e-3;
  plan.channels[0].heights.kind = HeightPlan::Kind::landau;
  const Simulation simulation(plan);
  const SimulatedBlock whole = simulation.records(0, 20);
  for (std::uint64_t k = 0; k < 20; ++k) {
    const SimulatedBlock one = simulation.records(k, 1);
    const auto a = std::get<std::span<const std::int16_t>>(whole.block.records[k].traces[0].counts);
    const auto b = std::get<std::span<const std::int16_t>>(one.block.records[0].traces[0].counts);
    ASSERT_TRUE(std::equal(a.begin(), a.end(), b.begin(), b.end())) << k;
    ASSERT_EQ(whole.truth[k].time_s, one.truth[0].time_s);
  }
}

TEST(simulation, noise_has_the_planned_spread_and_density) {
  for (const double NoisePlan::*kind : {&NoisePlan::white_v, &NoisePlan::band_v, &NoisePlan::flicker_v}) {
    NoisePlan plan;
    plan.*const_cast<double NoisePlan::*>(kind) = 2e-3;
    const NoiseSource source(plan, 400e6, 1000, 0.2e-9);
    std::mt19937_64 engine(3);
    double sum = 0;
    constexpr int stretches = 400;
    for (int i = 0; i < stretches; ++i) {
      for (const double value : source.draw(engine)) sum += value * value;
    }
    // 400,000 samples; correlated over up to a whole stretch for 1/f: 400 independent stretches give
    // sqrt(2/400) = 7 % in the variance, 3.5 % in the spread: 4 of these.
    EXPECT_NEAR(std::sqrt(sum / (stretches * 1000.0)), 2e-3, 4 * 0.035 * 2e-3);
    // The density integrates to the variance over the frequencies of the circle.
    const std::vector<double> density = source.density_v2_per_hz(2048);
    double variance = 0.5 * (density.front() + density.back());
    for (std::size_t k = 1; k + 1 < density.size(); ++k) variance += density[k];
    variance /= 2048 * 0.2e-9;
    EXPECT_NEAR(variance, 4e-6, 4e-6 * 2e-3);
  }
}

TEST(simulation, truth_stands_where_the_noiseless_pulse_crosses_half_its_height) {
  SimulationPlan plan = plan_of();
  plan.channels[0].digitizer.bits = 0;
  plan.channels[0].delay_s = 3e-9;
  const Simulation simulation(plan);
  const SimulatedBlock run = simulation.records(0, 10);
  ASSERT_EQ(run.truth.size(), 10U);
  for (const Stamp& truth : run.truth) {
    const Trace& trace = run.block.records[truth.record].traces[0];
    const std::vector<double> samples = volts(trace);
    const double position = (truth.time_s - trace.first_sample_s) / trace.interval_s;
    const auto before = static_cast<std::size_t>(position);
    EXPECT_LT(samples[before], 0.05);
    EXPECT_GT(samples[before + 1], 0.05);
  }
}

TEST(simulation, counts_stop_at_the_digitizer_s_limits_and_the_truth_says_so) {
  const Simulation simulation(plan_of(0.8));  // the range ends at +0.5 V
  const SimulatedBlock run = simulation.records(0, 3);
  for (const Record& record : run.block.records) {
    EXPECT_FALSE(clipped_ranges(record.traces[0]).empty());
    EXPECT_EQ(record.traces[0].highest_count, 2047);
  }
  for (const Stamp& truth : run.truth) EXPECT_TRUE(truth.flags.has(Flag::clipped));
}

TEST(simulation, sampling_jitter_moves_the_instants_of_samples_and_nothing_else) {
  SimulationPlan plan = plan_of();
  plan.channels[0].digitizer.bits = 0;
  plan.channels[0].noise.band_v = 1e-3;
  plan.channels[0].heights.kind = HeightPlan::Kind::landau;
  plan.channels.push_back(plan.channels[0]);
  plan.channels[1].name = "b";
  SimulationPlan jittered_plan = plan;
  for (ChannelPlan& channel : jittered_plan.channels) channel.digitizer.sampling_jitter_s = 1e-15;
  const Simulation jittered(jittered_plan);
  const SimulatedBlock exact = Simulation(plan).records(0, 20);
  const SimulatedBlock moved = jittered.records(0, 20);
  for (std::size_t k = 0; k < 20; ++k) {
    ASSERT_EQ(exact.truth[k].time_s, moved.truth[k].time_s);
    ASSERT_EQ(exact.truth[k].height_v, moved.truth[k].height_v);
    for (std::size_t c = 0; c < 2; ++c) {
      const std::vector<double> a = volts(exact.block.records[k].traces[c]);
      const std::vector<double> b = volts(moved.block.records[k].traces[c]);
      EXPECT_NE(a, b);
      // 6 fs at slopes of 0.4 V/ns, and the reading between points of the noise (40 in a period: 1e-6).
      for (std::size_t i = 0; i < a.size(); ++i) ASSERT_NEAR(a[i], b[i], 4e-6) << i;
    }
    const SimulatedBlock alone = jittered.records(k, 1);
    EXPECT_EQ(volts(alone.block.records[0].traces[1]), volts(moved.block.records[k].traces[1]));
  }
}

TEST(noise_source, noise_between_the_samples_is_the_same_noise) {
  NoisePlan plan;
  plan.band_v = 2e-3;
  const NoiseSource coarse(plan, 400e6, 200, 0.2e-9), fine(plan, 400e6, 200, 0.2e-9);
  std::mt19937_64 one(5), two(5);
  const std::vector<double> in_place = coarse.draw(one);
  const std::vector<double> next = fine.draw_at(two, std::vector<double>(200, 0.2e-9));
  // A whole sample further on stands the next sample, to rounding of two transforms.
  for (std::size_t i = 0; i + 1 < 200; ++i) ASSERT_NEAR(next[i], in_place[i + 1], 1e-12);
  EXPECT_EQ(one, two);
}

TEST(simulation, triggers_stand_one_in_each_period) {
  SimulationPlan plan = plan_of();
  plan.start = Instant{TimeScale::utc, 1795588620, 0};
  plan.trigger_rate_hz = 10;
  const SimulatedBlock run = Simulation(plan).records(0, 20);
  for (const Record& record : run.block.records) {
    const double after_s = difference_s(record.trigger.value(), *plan.start);
    EXPECT_GE(after_s, 0.1 * static_cast<double>(record.index));
    EXPECT_LT(after_s, 0.1 * static_cast<double>(record.index + 1));
  }
}

TEST(simulation, a_plan_with_a_name_unknown_or_a_size_out_of_range_is_refused) {
  const auto refused = [](const std::string& name, Settings::Value value) {
    Settings settings("plan");
    Settings::Group channel{{"name", {std::string("a")}}};
    settings.set("channels", Settings::Value{Settings::List{{channel}}});
    simulation_plan(settings);  // good as it is
    settings.set(name, std::move(value));
    EXPECT_THROW(simulation_plan(settings), Error) << name;
  };
  refused("recrods", {1.0});
  refused("records", {0.0});
  refused("records", {1.5});
  refused("samples", {1e9});
  refused("interval", {std::string("0 ns")});
  refused("seed", {-1.0});
  refused("channels", {Settings::List{}});
}

TEST(simulation, a_plan_names_its_sampling_jitter) {
  const auto plan_with = [](const std::string& jitter) {
    Settings settings("plan");
    const Settings::Group digitizer{{"sampling_jitter", {jitter}}};
    Settings::Group channel{{"name", {std::string("a")}}, {"digitizer", {digitizer}}};
    settings.set("channels", Settings::Value{Settings::List{{channel}}});
    return simulation_plan(settings);
  };
  EXPECT_EQ(plan_with("3 ps").channels[0].digitizer.sampling_jitter_s, 3e-12);
  EXPECT_THROW(plan_with("-3 ps"), Error);
  EXPECT_THROW(plan_with("60 ps"), Error);  // of an interval of 200 ps
}

}  // namespace
}  // namespace firstedge
