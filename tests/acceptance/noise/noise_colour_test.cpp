// Every method in noise of three colours, at three sampling rates and two depths, heights 1:20: spread over
// the Cramer-Rao bound of the true noise, bias, coverage, share flagged. Noise and template are learnt from
// the run itself. Prints its table: ctest -R acceptance_noise -V shows it.
#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/batch/learning.hpp"
#include "firstedge/io/record_writer.hpp"
#include "firstedge/signal/fft.hpp"
#include "firstedge/simulate/simulation.hpp"
#include "firstedge/timing/time_bound.hpp"

#include "support/temporary_folder.hpp"

#include <cmath>
#include <complex>
#include <cstdio>
#include <functional>
#include <numbers>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr std::uint64_t records = 5000;
constexpr std::size_t learnt_from = 2000;
constexpr double lowest_v = 0.02, highest_v = 0.4;
constexpr double threshold_v = 0.012;
constexpr double delay_s = 0.8e-9, delayed_fraction_used = 0.3;
constexpr double record_s = 60e-9, before_s = 30e-9;
constexpr std::size_t fewest_for_figures = 500;

const std::vector<std::string> methods{"leading_edge", "constant_fraction", "delayed_fraction",
                                       "template_fit"};

struct Colour {
  std::string name;
  NoisePlan noise;
};
std::vector<Colour> colours() {
  return {{"white", {.white_v = 1.5e-3, .pick_up = {}}},
          {"band", {.white_v = 0.2e-3, .band_v = 1.5e-3, .pick_up = {}}},
          {"band, 1/f, line",
           {.white_v = 0.2e-3, .band_v = 1.3e-3, .flicker_v = 0.6e-3, .pick_up = {{98e6, 0.6e-3}}}}};
}

SimulationPlan plan_of(const NoisePlan& noise, double interval_s, int bits) {
  SimulationPlan plan;
  plan.seed = 400;
  plan.records = records;
  plan.interval_s = interval_s;
  plan.samples = static_cast<std::size_t>(std::lround(record_s / interval_s));
  plan.first_sample_s = -before_s;
  plan.passage_s = {0, interval_s};
  ChannelPlan channel;
  channel.name = "one";
  channel.shape = {.rise_s = 0.2e-9, .decay_s = 2.5e-9, .band_hz = 400e6};
  channel.heights = {.kind = HeightPlan::Kind::uniform, .height_v = lowest_v, .highest_v = highest_v};
  channel.noise = noise;
  channel.digitizer = {.bits = bits, .full_scale_v = 0.6, .offset_v = 0.25};
  plan.channels = {channel};
  return plan;
}

// The autocovariance of the true spectrum (Wiener and Khinchin), the line's and the rounding's with it.
NoiseModel true_noise(const Simulation& simulation) {
  const ChannelPlan& channel = simulation.plan().channels[0];
  const double interval_s = simulation.plan().interval_s;
  constexpr std::size_t circle = 8192;
  std::vector<std::complex<double>> lines;
  for (const double density : simulation.noise(0).density_v2_per_hz(circle)) lines.emplace_back(density);
  lines.front() *= 2;  // one-sided: 0 Hz and Nyquist stand alone
  lines.back() *= 2;
  lines.front() = 0;
  const std::vector<double> covariance = inverse_fft(std::move(lines), circle);
  NoiseModel noise{.interval_s = interval_s, .autocovariance_v2 = {}, .samples_used = 0};
  const double step_v = std::ldexp(channel.digitizer.full_scale_v, -channel.digitizer.bits);
  for (std::size_t k = 0; k < simulation.plan().samples; ++k) {
    double value = covariance[k] * 0.5 / interval_s + (k == 0 ? step_v * step_v / 12 : 0);
    for (const PickUpPlan& line : channel.noise.pick_up) {
      const double turn = 2 * std::numbers::pi * line.frequency_hz * interval_s * static_cast<double>(k);
      value += 0.5 * line.amplitude_v * line.amplitude_v * std::cos(turn);
    }
    noise.autocovariance_v2.push_back(value);
  }
  return noise;
}

// Bound (s V) of a pulse of 1 V anywhere between the samples, from all samples of the record, with height and
// baseline not known beforehand: what no method can beat.
double bound_at_one_volt(const Simulation& simulation) {
  const NoiseModel noise = true_noise(simulation);
  const ChainShape& shape = simulation.shape(0);
  const double interval_s = noise.interval_s;
  constexpr int places = 4;
  constexpr double step_s = 1e-13;
  double information = 0;
  for (int place = 0; place < places; ++place) {
    std::vector<double> value, slope;
    for (std::size_t i = 0; i < simulation.plan().samples; ++i) {
      const double t = (static_cast<double>(i) + static_cast<double>(place) / places) * interval_s - before_s;
      value.push_back(shape(t));
      slope.push_back((shape(t + step_s) - shape(t - step_s)) / (2 * step_s));
    }
    information += std::pow(time_bound_with_height_s(slope, value, noise), -2) / places;
  }
  return 1 / std::sqrt(information);
}

// Where a method's instant lies after the half-height crossing on the noiseless shape of this height.
double instant_s(const ChainShape& shape, const std::string& method, double height_v) {
  const double half_s = shape.crossing_s(0.5);
  if (method == "leading_edge") return shape.crossing_s(threshold_v / height_v) - half_s;
  if (method == "constant_fraction") return shape.crossing_s(0.3) - half_s;
  if (method == "template_fit") return 0;
  double low = shape.crossing_s(0.3), high = shape.peak_s() + delay_s;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (delayed_fraction_used * shape(middle) > shape(middle - delay_s) ? low : high) = middle;
  }
  return low - half_s;
}

struct Row {
  std::string method, colour;
  double rate_hz = 0;
  int bits = 0;
  std::size_t pulses = 0, used = 0, in_one = 0, in_two = 0;
  double over_bound = 0, bias_s = 0, bias_error_s = 0;
  double flagged() const { return 1 - static_cast<double>(used) / static_cast<double>(pulses); }
  double share(std::size_t hits) const { return static_cast<double>(hits) / static_cast<double>(used); }
};

LearntChannel learn(const Simulation& simulation) {
  const test::TemporaryFolder folder;
  RecordWriter writer(folder / "run.h5", {.channels = {"one"}, .attributes = {}});
  writer.write(simulation.records(0, learnt_from).block);
  writer.finish();
  const firstedge::Setup setup = parse_setup(
      R"({"every_channel": {"baseline": {"method": "mean", "window": ["-29 ns", "-3 ns"]}, "timing": [
           {"method": "leading_edge", "threshold": "12 mV"}, {"method": "constant_fraction", "fraction": 0.3},
           {"method": "delayed_fraction", "fraction": 0.3, "delay": "0.8 ns"}, {"method": "template_fit"}]}})",
      "noise colours");
  return learn_channels(*open_records({folder / "run.h5"}, setup.input), setup, {}).front();
}

class Tally {
 public:
  void add(const Stamp& stamp, double truth_s, double bound_s, Row& row) {
    ++row.pulses;
    if (!stamp.flags.empty() || !std::isfinite(stamp.time_s)) return;
    ++row.used;
    const double error_s = stamp.time_s - truth_s;
    row.in_one += std::abs(error_s) <= stamp.uncertainty_s ? 1 : 0;
    row.in_two += std::abs(error_s) <= 2 * stamp.uncertainty_s ? 1 : 0;
    // Errors weighed by the bound, so that each height counts the same.
    ratios_ += error_s / bound_s;
    ratio_squares_ += error_s * error_s / (bound_s * bound_s);
    errors_ += error_s;
    squares_ += error_s * error_s;
  }
  void finish(Row& row) const {
    if (row.used < fewest_for_figures) return;
    const auto n = static_cast<double>(row.used);
    row.over_bound = std::sqrt(ratio_squares_ / n - ratios_ * ratios_ / (n * n));
    row.bias_s = errors_ / n;
    row.bias_error_s = std::sqrt((squares_ / n - row.bias_s * row.bias_s) / n);
  }

 private:
  double ratios_ = 0, ratio_squares_ = 0, errors_ = 0, squares_ = 0;
};

std::vector<Row> rows_of(const Colour& colour, double interval_s, int bits) {
  const Simulation simulation(plan_of(colour.noise, interval_s, bits));
  const double bound_v_s = bound_at_one_volt(simulation);
  const ChannelTimer timer(learn(simulation), 0, {0, 1, 2, 3});
  std::vector<Row> rows;
  for (const std::string& method : methods) rows.push_back({method, colour.name, 1 / interval_s, bits});
  std::vector<Tally> tallies(methods.size());
  for (std::uint64_t first = 0; first < records; first += 500) {
    const SimulatedBlock block = simulation.records(first, 500);
    for (std::size_t i = 0; i < block.truth.size(); ++i) {
      const Stamp& truth = block.truth[i];
      for (const Stamp& stamp : timer.stamps(block.block.records[i].traces[0], i)) {
        if (stamp.pulse != 0) continue;
        const double instant = instant_s(simulation.shape(0), methods[stamp.method], truth.height_v);
        tallies[stamp.method].add(stamp, truth.time_s + instant, bound_v_s / truth.height_v,
                                  rows[stamp.method]);
      }
    }
  }
  for (std::size_t m = 0; m < rows.size(); ++m) tallies[m].finish(rows[m]);
  return rows;
}

const std::vector<Row>& table() {
  static const std::vector<Row> all = [] {
    std::vector<Row> rows;
    for (const Colour& colour : colours()) {
      for (const double interval_s : {0.4e-9, 0.2e-9, 0.1e-9}) {
        for (const int bits : {8, 12}) {
          for (Row& row : rows_of(colour, interval_s, bits)) rows.push_back(std::move(row));
        }
      }
    }
    std::printf("heights %.2f V to %.2f V, %llu pulses a row; figures of the stamps without a flag\n",
                lowest_v, highest_v, static_cast<unsigned long long>(records));
    std::printf("%-18s %-16s %5s %4s %8s %16s %8s %8s %8s\n", "method", "noise", "GS/s", "bits", "/ bound",
                "bias/ps", "in 1 u", "in 2 u", "flagged");
    for (const Row& row : rows) {
      std::printf("%-18s %-16s %5.1f %4d", row.method.c_str(), row.colour.c_str(), row.rate_hz * 1e-9,
                  row.bits);
      if (row.used < fewest_for_figures) {
        std::printf(" %8s %16s %8s %8s %8.3f\n", "-", "-", "-", "-", row.flagged());
        continue;
      }
      std::printf(" %8.3f %7.2f +- %5.2f %8.4f %8.4f %8.3f\n", row.over_bound, row.bias_s * 1e12,
                  row.bias_error_s * 1e12, row.share(row.in_one), row.share(row.in_two), row.flagged());
    }
    return rows;
  }();
  return all;
}

TEST(noise_colours, the_table_is_whole) {
  EXPECT_EQ(table().size(), methods.size() * 3 * 3 * 2);
}

}  // namespace
}  // namespace firstedge
