// Sampling jitter of the simulated digitizer: the published signal-to-noise ratio of a sine, and what the
// jitter does to times.
#include "firstedge/simulate/simulation.hpp"
#include "firstedge/timing/template_fit.hpp"

#include "support/small_matrix.hpp"
#include "support/tally.hpp"
#include "support/template_pulses.hpp"
#include "support/timing_methods.hpp"

#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

// A record of nothing but a sine, sampled without rounding; its phase is that of the record's own engine.
SimulationPlan sine_plan(double frequency_hz, double jitter_s) {
  SimulationPlan plan;
  plan.seed = 58;
  plan.samples = 10000;
  plan.interval_s = 0.0317e-9;  // no whole number of samples in a period
  ChannelPlan channel;
  channel.name = "sine";
  channel.efficiency = 0;
  channel.shape.band_hz = 5e9;
  channel.noise.pick_up = {{.frequency_hz = frequency_hz, .amplitude_v = 0.4}};
  channel.digitizer = {.bits = 0, .sampling_jitter_s = jitter_s};
  plan.channels = {channel};
  return plan;
}

constexpr std::uint64_t sine_records = 40;

// 10 log10 of the power of the sine over that of its error, in decibels.
double signal_to_noise_db(double frequency_hz, double jitter_s) {
  const SimulatedBlock exact = Simulation(sine_plan(frequency_hz, 0)).records(0, sine_records);
  const SimulatedBlock jittered = Simulation(sine_plan(frequency_hz, jitter_s)).records(0, sine_records);
  double signal = 0, error = 0;
  for (std::size_t k = 0; k < sine_records; ++k) {
    const std::vector<double> a = volts(exact.block.records[k].traces[0]);
    const std::vector<double> b = volts(jittered.block.records[k].traces[0]);
    for (std::size_t i = 0; i < a.size(); ++i) {
      signal += a[i] * a[i];
      error += (b[i] - a[i]) * (b[i] - a[i]);
    }
  }
  return 10 * std::log10(signal / error);
}

// SNR = -20 log10(2 pi f sj): rfessentials.com/resources/rf-glossary/aperture-jitter, which prints for sj =
// 100 fs: 100 MHz 84 dB, 1 GHz 64 dB, 5 GHz 50 dB, 10 GHz 44 dB. Recomputed from the formula: 100 MHz and 1
// ps 64.0364026 dB, 100 MHz and 100 fs 84.0364026 dB, 1 GHz and 1 ps 44.0364026 dB.
TEST(sampling_jitter_reference, a_sampled_sine_has_the_published_signal_to_noise_ratio) {
  struct Row {
    double frequency_hz, jitter_s, printed_db, recomputed_db;
  };
  // An error is cos(phase) times a Gaussian: its square has a relative standard deviation of sqrt(3.5), the
  // mean of 400,000 one of 0.30 %, 0.0129 dB. 4.5 of them. The second order of the sine, (2 pi f sj)^2 =
  // 4e-5, is 0.0002 dB.
  const double tolerance_db = 4.5 * 10 / std::numbers::ln10 * std::sqrt(3.5 / (sine_records * 10000.0));
  for (const Row& row : {Row{100e6, 100e-15, 84, 84.0364026},
                         {1e9, 100e-15, 64, 64.0364026},
                         {5e9, 100e-15, 50, NAN},
                         {10e9, 100e-15, 44, 44.0364026},
                         {100e6, 1e-12, NAN, 64.0364026},
                         {1e9, 1e-12, NAN, 44.0364026}}) {
    const double got_db = signal_to_noise_db(row.frequency_hz, row.jitter_s);
    const double formula_db = -20 * std::log10(2 * std::numbers::pi * row.frequency_hz * row.jitter_s);
    EXPECT_NEAR(got_db, formula_db, tolerance_db) << row.frequency_hz << " " << row.jitter_s;
    if (!std::isnan(row.printed_db)) {
      EXPECT_NEAR(got_db, row.printed_db, 0.5 + tolerance_db);
    }
    if (!std::isnan(row.recomputed_db)) {
      EXPECT_NEAR(formula_db, row.recomputed_db, 5e-8);
    }
  }
}

constexpr double height_v = 0.4;
constexpr double noise_v = 1e-3;
constexpr double jitter_s = 6e-12;
constexpr std::uint64_t pulses = 4000;
// The standard deviation of 4,000 Gaussian numbers has a relative standard error of 1.1 %; four of them.
constexpr double tolerance = 0.045;

SimulationPlan pulse_plan(double sampling_jitter_s) {
  SimulationPlan plan;
  plan.seed = 59;
  plan.samples = 200;
  plan.interval_s = 0.2e-9;
  plan.first_sample_s = -10e-9;
  ChannelPlan channel;
  channel.name = "pulses";
  channel.shape = {.rise_s = 0.22e-9, .decay_s = 3e-9, .band_hz = 150e6};  // 10 samples from 10 % to 90 %
  channel.heights.height_v = height_v;
  channel.noise.white_v = noise_v;
  channel.digitizer = {.bits = 0, .sampling_jitter_s = sampling_jitter_s};
  plan.channels = {channel};
  return plan;
}

double spread_s(double sampling_jitter_s, const test::Method& method) {
  const SimulatedBlock run = Simulation(pulse_plan(sampling_jitter_s)).records(0, pulses);
  const NoiseModel noise = white_noise(noise_v, 0.2e-9);
  test::Tally tally;
  for (std::size_t k = 0; k < pulses; ++k) {
    const Trace& trace = run.block.records[k].traces[0];
    const ConditionedTrace conditioned =
        test::conditioned(volts(trace), trace.interval_s, trace.first_sample_s);
    tally.add(test::stamp_of(conditioned, noise, method), run.truth[k].time_s, 0);
  }
  return tally.spread_s();
}

// What each sample does to a time, averaged over the places of the pulse between the samples: the spread that
// errors of the samples of deviation_v(slope) make. influence: s/V, of the samples from the passage + time_s
// on.
struct Influence {
  double first_s = 0;
  std::vector<double> s_per_v;
};
template <class InfluenceAt, class Deviation>
double predicted_s(const ChainShape& shape, const InfluenceAt& influence_at, const Deviation& deviation_v) {
  constexpr int places = 20;
  double sum = 0;
  for (int place = 0; place < places; ++place) {
    const Influence influence = influence_at((place + 0.5) / places);
    for (std::size_t i = 0; i < influence.s_per_v.size(); ++i) {
      const double time_s = influence.first_s + 0.2e-9 * static_cast<double>(i);
      const double slope = height_v * (shape(time_s + 1e-12) - shape(time_s - 1e-12)) / 2e-12;
      sum += std::pow(influence.s_per_v[i] * deviation_v(slope), 2) / places;
    }
  }
  return std::sqrt(sum);
}

double of_noise(double /*slope*/) {
  return noise_v;
}
double of_jitter(double slope) {
  return jitter_s * std::abs(slope);
}

// sigma_t = sigma_n/|dV/dt| with sigma_n = |dV/dt| sj: a crossing of one sample would spread by sj. Between
// two samples with independent errors the variance is ((1-a)^2 + a^2) of that, 2/3 on the mean over the
// places (derived).
TEST(sampling_jitter_reference,
     a_crossing_between_two_samples_spreads_by_two_thirds_of_the_jitter_s_variance) {
  const Simulation simulation(pulse_plan(0));
  const ChainShape& shape = simulation.shape(0);
  const double crossing_s = shape.crossing_s(0.5);
  const auto influence_at = [&](double a) {
    const double slope = height_v * (shape(crossing_s + 1e-12) - shape(crossing_s - 1e-12)) / 2e-12;
    return Influence{crossing_s - a * 0.2e-9, {(1 - a) / slope, a / slope}};
  };
  const double of_jitter_s = predicted_s(shape, influence_at, of_jitter);
  // The edge is straight to a few per cent over two samples of ten.
  EXPECT_NEAR(of_jitter_s, std::sqrt(2.0 / 3) * jitter_s, 0.03 * jitter_s);
  const test::Method method =
      test::leading({.threshold_v = 0.5 * height_v, .interpolation = Interpolation::linear});
  const double without_s = spread_s(0, method), with_s = spread_s(jitter_s, method);
  const double of_noise_s = predicted_s(shape, influence_at, of_noise);
  EXPECT_NEAR(without_s, of_noise_s, tolerance * of_noise_s);
  EXPECT_NEAR(with_s, std::hypot(of_noise_s, of_jitter_s), tolerance * with_s);
  EXPECT_GT(of_jitter_s, 0.5 * of_noise_s);  // so that a jitter that is lost would show
}

// Least squares: the time's error is the errors of the samples times the row of (J'J)^-1 J' that belongs to
// the time, J the derivatives by time, height and baseline (S. Kay, Estimation Theory (1993), ch. 4, from
// memory).
TEST(sampling_jitter_reference, a_template_fit_spreads_by_what_its_weights_make_of_the_jitter) {
  const Simulation simulation(pulse_plan(0));
  const ChainShape& shape = simulation.shape(0);
  const double half_s = shape.crossing_s(0.5);
  const double before_s = 5e-9, after_s = 22e-9;
  const PulseTemplate exact =
      test::exact_template([&](double t) { return shape(t); }, half_s, 25e-12, -before_s, after_s);
  const auto influence_at = [&](double a) {
    Influence influence{half_s - before_s + a * 0.2e-9, {}};
    const auto samples = static_cast<std::size_t>((before_s + after_s) / 0.2e-9) - 1;
    test::Matrix columns(3, std::vector<double>(samples, 1.0));
    for (std::size_t i = 0; i < samples; ++i) {
      const double t = influence.first_s + 0.2e-9 * static_cast<double>(i);
      // Time in nanoseconds, so that the columns are of one size.
      columns[0][i] = -height_v * (shape(t + 1e-12) - shape(t - 1e-12)) / 2e-3;
      columns[1][i] = shape(t);
    }
    test::Matrix products(3, std::vector<double>(3));
    for (std::size_t j = 0; j < 3; ++j)
      for (std::size_t k = 0; k < 3; ++k)
        for (std::size_t i = 0; i < samples; ++i) products[j][k] += columns[j][i] * columns[k][i];
    const std::vector<double> row = test::inverse(products)[0];
    for (std::size_t i = 0; i < samples; ++i)
      influence.s_per_v.push_back(1e-9 *
                                  (row[0] * columns[0][i] + row[1] * columns[1][i] + row[2] * columns[2][i]));
    return influence;
  };
  const NoiseModel noise = white_noise(noise_v, 0.2e-9);
  // Jitter makes the residuals of the edge larger than the noise: no second pulse is to be looked for there.
  const TemplateFit fit(exact, noise, {.find_hidden_pulses = false});
  const test::Method method = [&](const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel&) {
    return fit(trace, pulse);
  };
  const double of_noise_s = predicted_s(shape, influence_at, of_noise);
  const double of_jitter_s = predicted_s(shape, influence_at, of_jitter);
  EXPECT_NEAR(spread_s(0, method), of_noise_s, tolerance * of_noise_s);
  const double all_s = std::hypot(of_noise_s, of_jitter_s);
  EXPECT_NEAR(spread_s(jitter_s, method), all_s, tolerance * all_s);
  EXPECT_GT(of_jitter_s, 0.5 * of_noise_s);
}

}  // namespace
}  // namespace firstedge
