// Scenes of pulses in noise of every colour, at every sampling and number of bits: simulated, learnt and
// stamped as a run is, and held against the truth and the bound of the true noise.
#pragma once

#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/batch/learning.hpp"
#include "firstedge/io/record_writer.hpp"
#include "firstedge/simulate/simulation.hpp"

#include "support/tally.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

#include <Eigen/Dense>

namespace firstedge::test {

/// What is simulated: an edge of 0.9 ns, heights of 40 mV to 800 mV, a digitizer of 1 V.
struct NoisyScene {
  std::string colour;
  NoisePlan noise;
  bool lines_taken_out = false;  ///< by the baseline, as its Setup can
  double interval_s = 0.2e-9;
  int bits = 12;
  std::uint64_t seed = 1;
};

inline constexpr double lowest_v = 0.04, highest_v = 0.8, full_scale_v = 1.0;
inline constexpr double record_s = 80e-9, before_trigger_s = 50e-9;
inline constexpr double threshold_v = 0.02, height_fraction = 0.3, delay_s = 0.8e-9;

/// Heights are drawn evenly from each of four stretches of equal ratio, so that low pulses count as much as
/// high ones.
inline constexpr int height_stretches = 4;

/// The noises of the tables; each has a standard deviation of `rms_v` but for the lines, whose power comes on
/// top.
struct NoiseColour {
  std::string name;
  NoisePlan noise;
  bool lines_taken_out = false;
};
inline std::vector<NoiseColour> noise_colours(double rms_v) {
  const auto part = [rms_v](double share) { return std::sqrt(share) * rms_v; };
  const NoisePlan with_line{.white_v = rms_v, .pick_up = {{98e6, part(0.5)}}};
  const NoisePlan of_all{
      .white_v = part(0.1), .band_v = part(0.6), .flicker_v = part(0.3), .pick_up = {{98e6, part(0.5)}}};
  return {{"white", {.white_v = rms_v, .pick_up = {}}},
          {"400 MHz band", {.band_v = rms_v, .pick_up = {}}},
          {"1/f + white", {.white_v = part(0.5), .flicker_v = part(0.5), .pick_up = {}}},
          {"98 MHz line + white", with_line},
          {"98 MHz line + white, line taken out", with_line, true},
          {"band + 1/f + line", of_all}};
}

inline SimulationPlan plan_of(const NoisyScene& scene, double low_v, double high_v, std::uint64_t records) {
  SimulationPlan plan;
  plan.seed = scene.seed;
  plan.records = records;
  plan.interval_s = scene.interval_s;
  plan.samples = static_cast<std::size_t>(std::llround(record_s / scene.interval_s));
  plan.first_sample_s = -before_trigger_s;
  plan.passage_s = {-scene.interval_s, scene.interval_s};
  ChannelPlan channel;
  channel.name = "sensor";
  channel.shape = {.rise_s = 0.2e-9, .decay_s = 2.5e-9, .band_hz = 347e6, .line = {}};
  channel.heights = {.kind = HeightPlan::Kind::uniform, .height_v = low_v, .highest_v = high_v};
  channel.noise = scene.noise;
  channel.digitizer = {.bits = scene.bits, .full_scale_v = full_scale_v, .offset_v = 0.4};
  plan.channels.push_back(channel);
  return plan;
}

/// Autocovariance (V^2) of the true noise of a scene, lag by lag, shape (samples,): the noise source's own
/// spectrum summed up, the lines, and what rounding to counts adds to a sample (JCGM 100:2008, 4.3.7).
inline std::vector<double> true_autocovariance(const Simulation& simulation) {
  const SimulationPlan& plan = simulation.plan();
  std::size_t circle = 1;
  while (circle < 2 * plan.samples) circle *= 2;
  const std::vector<double> density = simulation.noise(0).density_v2_per_hz(circle);
  const double step_hz = 1 / (static_cast<double>(circle) * plan.interval_s);
  std::vector<double> covariance(plan.samples, 0.0);
  for (std::size_t lag = 0; lag < plan.samples; ++lag) {
    for (std::size_t k = 0; k < density.size(); ++k) {
      const double share = k == 0 || k + 1 == density.size() ? 0.5 : 1;
      const auto turns = static_cast<double>(k * lag % circle) / static_cast<double>(circle);
      covariance[lag] += share * density[k] * step_hz * std::cos(2 * std::numbers::pi * turns);
    }
    for (const PickUpPlan& line : plan.channels[0].noise.pick_up) {
      const double turns = line.frequency_hz * plan.interval_s * static_cast<double>(lag);
      covariance[lag] += line.amplitude_v * line.amplitude_v / 2 * std::cos(2 * std::numbers::pi * turns);
    }
  }
  const DigitizerPlan& digitizer = plan.channels[0].digitizer;
  const double step_v = digitizer.bits > 0 ? digitizer.full_scale_v / std::exp2(digitizer.bits) : 0;
  covariance[0] += step_v * step_v / 12;
  return covariance;
}

/// The Cramer-Rao bound (s) of the time of a pulse of 1 V with its height and a level of the whole record
/// free, in the true noise, its information averaged over the places between two samples. Source: S. Kay,
/// Fundamentals of Statistical Signal Processing: Estimation Theory (1993), 3.9 (page from memory).
inline double true_bound_at_one_volt_s(const Simulation& simulation) {
  using Eigen::Index;
  const SimulationPlan& plan = simulation.plan();
  const ChainShape& shape = simulation.shape(0);
  const std::vector<double> covariance = true_autocovariance(simulation);
  const auto n = static_cast<Index>(plan.samples);
  Eigen::MatrixXd toeplitz(n, n);
  for (Index i = 0; i < n; ++i)
    for (Index j = 0; j < n; ++j) toeplitz(i, j) = covariance[static_cast<std::size_t>(std::abs(i - j))];
  const Eigen::LLT<Eigen::MatrixXd> factor(toeplitz);
  constexpr int places = 8;
  constexpr double step_s = 1e-13;
  double information = 0;
  for (int place = 0; place < places; ++place) {
    Eigen::MatrixXd columns(n, 3);
    for (Index i = 0; i < n; ++i) {
      const double t = plan.first_sample_s +
                       plan.interval_s * (static_cast<double>(i) + static_cast<double>(place) / places);
      columns(i, 0) = -(shape(t + step_s) - shape(t - step_s)) / (2 * step_s);
      columns(i, 1) = shape(t);
      columns(i, 2) = 1;
    }
    const Eigen::MatrixXd white = factor.matrixL().solve(columns);
    information += 1 / (white.transpose() * white).inverse()(0, 0) / places;
  }
  return 1 / std::sqrt(information);
}

/// One method of the tables: its Setup, and the instant that it marks on a noiseless pulse.
struct NoisyMethod {
  std::string name, setup;
  enum class Mark { threshold, fraction, delayed_fraction, half } mark;
};
inline std::vector<NoisyMethod> noisy_methods() {
  using Mark = NoisyMethod::Mark;
  return {{"leading edge, 20 mV", R"({"method": "leading_edge", "threshold": "20 mV"})", Mark::threshold},
          {"constant fraction, 0.3", R"({"method": "constant_fraction", "fraction": 0.3})", Mark::fraction},
          {"delayed fraction, 0.3, 0.8 ns",
           R"({"method": "delayed_fraction", "fraction": 0.3, "delay": "0.8 ns"})", Mark::delayed_fraction},
          {"template fit", R"({"method": "template_fit"})", Mark::half}};
}

/// Time from the passage at which shape(t - delay) crosses height_fraction * shape(t).
inline double delayed_crossing_s(const ChainShape& shape) {
  double low = shape.crossing_s(0.05), high = shape.peak_s() + delay_s;
  for (int i = 0; i < 60; ++i) {
    const double middle = (low + high) / 2;
    (shape(middle - delay_s) < height_fraction * shape(middle) ? low : high) = middle;
  }
  return low;
}

inline double mark_s(const ChainShape& shape, NoisyMethod::Mark mark, double height_v) {
  switch (mark) {
    case NoisyMethod::Mark::threshold:
      return shape.crossing_s(threshold_v / height_v);
    case NoisyMethod::Mark::fraction:
      return shape.crossing_s(height_fraction);
    case NoisyMethod::Mark::delayed_fraction:
      return delayed_crossing_s(shape);
    case NoisyMethod::Mark::half:
      return shape.crossing_s(0.5);
  }
  return 0;
}

/// What came of one method in one scene. Errors are time minus truth.
struct NoisyOutcome {
  std::string method;
  std::size_t pulses = 0;                         ///< simulated
  std::size_t flagged = 0;                        ///< with any flag, missed ones among them
  Tally trusted;                                  ///< of those without a flag
  std::array<Tally, height_stretches> by_height;  ///< the same, of each stretch of heights
  double over_bound2 = 0;                         ///< sum of (error / bound)^2 of those without a flag
  std::vector<FlagSet> flags;

  double share_flagged() const { return static_cast<double>(flagged) / static_cast<double>(pulses); }
  /// Root mean square error over the bound, each pulse by its own height.
  double over_bound() const { return std::sqrt(over_bound2 / static_cast<double>(trusted.count())); }
};

/// Learns from 2,000 pulses of all heights, then stamps `pulses` others and compares.
inline std::vector<NoisyOutcome> outcomes_of(const NoisyScene& scene, std::size_t pulses) {
  constexpr std::uint64_t learnt_from = 2000;
  std::vector<NoisyMethod> methods = noisy_methods();
  std::string timing;
  for (const NoisyMethod& method : methods) timing += (timing.empty() ? "" : ", ") + method.setup;
  const TemporaryFolder folder;
  const Simulation learning(plan_of(scene, lowest_v, highest_v, learnt_from));
  RecordWriter writer(folder / "run.h5", {.channels = {"sensor"}, .attributes = {}});
  writer.write(learning.records(0, learnt_from).block);
  writer.finish();
  const firstedge::Setup setup =
      parse_setup(R"({"every_channel": {"baseline": {"method": "mean", "window": ["-48 ns", "-4 ns"])" +
                      std::string(scene.lines_taken_out ? R"(, "remove_lines": ["98 MHz"]}, )" : "}, ") +
                      R"("timing": [)" + timing + "]}}",
                  "noisy scene");
  const auto channels = learn_channels(*open_records({folder / "run.h5"}, setup.input), setup, {});
  std::vector<std::uint16_t> numbers;
  for (std::uint16_t m = 0; m < methods.size(); ++m) numbers.push_back(m);
  const ChannelTimer timer(channels[0], 0, numbers);

  std::vector<NoisyOutcome> outcomes;
  for (const NoisyMethod& method : methods)
    outcomes.push_back({.method = method.name, .trusted = {}, .by_height = {}, .flags = {}});
  const double ratio = std::pow(highest_v / lowest_v, 1.0 / height_stretches);
  double low_v = lowest_v;
  for (int stretch = 0; stretch < height_stretches; ++stretch, low_v *= ratio) {
    NoisyScene other = scene;
    other.seed = scene.seed * 1000 + static_cast<std::uint64_t>(stretch) + 1;
    const std::size_t count = pulses / height_stretches;
    const Simulation simulation(plan_of(other, low_v, low_v * ratio, count));
    const double bound_s = true_bound_at_one_volt_s(simulation);
    const double half_s = simulation.shape(0).crossing_s(0.5);
    for (std::uint64_t first = 0; first < count; first += 500) {
      const SimulatedBlock block = simulation.records(first, std::min<std::size_t>(500, count - first));
      for (std::size_t i = 0; i < block.truth.size(); ++i) {
        const Stamp& truth = block.truth[i];
        const std::vector<Stamp> stamps = timer.stamps(block.block.records[i].traces[0], truth.record);
        for (std::size_t m = 0; m < methods.size(); ++m) {
          NoisyOutcome& outcome = outcomes[m];
          ++outcome.pulses;
          const double true_s =
              truth.time_s - half_s + mark_s(simulation.shape(0), methods[m].mark, truth.height_v);
          // Of several found, the nearest stands for the pulse.
          const Stamp* nearest = nullptr;
          for (const Stamp& stamp : stamps) {
            if (stamp.method != m || stamp.flags.has(Flag::not_timed)) continue;
            if (!nearest || std::abs(stamp.time_s - true_s) < std::abs(nearest->time_s - true_s))
              nearest = &stamp;
          }
          if (!nearest || !nearest->flags.empty()) {
            ++outcome.flagged;
            outcome.flags.push_back(nearest ? nearest->flags : FlagSet(Flag::not_timed));
            continue;
          }
          outcome.trusted.add(*nearest, true_s, bound_s / truth.height_v);
          outcome.by_height[static_cast<std::size_t>(stretch)].add(*nearest, true_s,
                                                                   bound_s / truth.height_v);
          const double over = (nearest->time_s - true_s) / (bound_s / truth.height_v);
          outcome.over_bound2 += over * over;
        }
      }
    }
  }
  return outcomes;
}

}  // namespace firstedge::test
