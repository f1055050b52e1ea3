// Claims of line removal and coherence: a line goes, a time stays, and what two channels share is told.
#include "firstedge/signal/coherence.hpp"
#include "firstedge/signal/conditioning.hpp"
#include "firstedge/signal/line_removal.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <array>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

constexpr double interval_s = 0.2e-9;
constexpr double line_hz = 98e6;
constexpr std::size_t samples = 500;
constexpr double pulse_s = 60e-9;

void add_line(std::vector<double>& volts, double amplitude_v, double phase) {
  for (std::size_t i = 0; i < volts.size(); ++i)
    volts[i] +=
        amplitude_v * std::cos(2 * std::numbers::pi * line_hz * interval_s * static_cast<double>(i) + phase);
}

ConditionedTrace cleaned(const std::vector<double>& volts, bool remove) {
  ConditioningOptions options;
  options.baseline.window_s = std::pair{1e-9, 55e-9};
  if (remove) options.baseline.lines_hz = {line_hz};
  const Trace trace{.counts = std::span<const double>(volts), .interval_s = interval_s, .first_sample_s = 0};
  return condition(trace, options);
}

// Half height of the Gaussian's edge between two samples, by a straight line.
double half_height_s(const ConditionedTrace& trace) {
  std::size_t i = 250;
  while (trace.volts[i] < 0.5) ++i;
  const double share = (0.5 - trace.volts[i - 1]) / (trace.volts[i] - trace.volts[i - 1]);
  return trace.time_s(static_cast<double>(i) - 1 + share);
}

TEST(line_removal, a_line_alone_is_taken_away_to_rounding) {
  std::vector<double> volts(samples, 0.3);
  add_line(volts, 0.01, 1.2);
  const std::vector<double> line = fitted_lines(volts, interval_s, {10, 260}, std::array{line_hz});
  // 250 samples of the fit and 240 beyond: rounding grows by less than 1e4 of 1e-16.
  for (std::size_t i = 0; i < samples; ++i) EXPECT_NEAR(volts[i] - line[i], 0.3, 1e-12);
}

TEST(line_removal, a_line_that_is_not_told_from_the_baseline_is_left) {
  std::vector<double> volts(samples, 0.0);
  add_line(volts, 0.01, 0);
  for (const double value : fitted_lines(volts, interval_s, {10, 40}, std::array{line_hz}))
    EXPECT_EQ(value, 0);
  for (const double value : fitted_lines(volts, interval_s, {10, 260}, std::array{4e9})) EXPECT_EQ(value, 0);
}

TEST(line_removal, it_does_not_move_a_time) {
  for (int phase = 0; phase < 10; ++phase) {
    const double centre_s = pulse_s + 0.02e-9 * phase;
    const auto volts = test::sampled(test::gaussian(centre_s, 0.5e-9), 1, samples, interval_s);
    // Promised for every conditioning: 0.5 ps.
    EXPECT_NEAR(half_height_s(cleaned(volts, true)), half_height_s(cleaned(volts, false)), 0.5e-12);
    auto disturbed = volts;
    add_line(disturbed, 0.02, 0.6 * phase);
    EXPECT_NEAR(half_height_s(cleaned(disturbed, true)), half_height_s(cleaned(volts, false)), 0.5e-12);
  }
}

TEST(line_removal, it_takes_the_line_out_of_the_spread_of_times) {
  test::Random random(4);
  std::array<double, 2> squares{};
  constexpr int pulses = 1000;
  for (int i = 0; i < pulses; ++i) {
    const double centre_s = pulse_s + random.uniform(0, interval_s);
    auto volts = test::sampled(test::gaussian(centre_s, 0.5e-9), 1, samples, interval_s);
    const double quiet_s = half_height_s(cleaned(volts, false));
    random.add_white_noise(volts, 0.005);
    add_line(volts, 0.02, random.uniform(0, 2 * std::numbers::pi));
    for (std::size_t removed = 0; removed < 2; ++removed)
      squares[removed] += std::pow(half_height_s(cleaned(volts, removed == 1)) - quiet_s, 2) / pulses;
  }
  // Slope at half height: sqrt(2 ln 2)/(2 s) = 1.18/ns. Line: 0.02/sqrt 2 V over it, 12.0 ps; noise of 5 mV
  // interpolated: 2.1 % to 3.5 % of a ns less, 3.0 to 4.2 ps; the fit adds sqrt(2/270) of it, 0.4 ps. 1,000
  // pulses know a spread to 2.2 %: 8 % is more than three and a half of these.
  EXPECT_NEAR(std::sqrt(squares[0]), std::hypot(12.0e-12, 3.5e-12), 0.08 * 12.5e-12);
  EXPECT_LT(std::sqrt(squares[1]), 1.08 * 4.25e-12);
}

TEST(coherence, a_shared_line_is_told_from_noise_of_its_own) {
  test::Random random(9);
  CoherenceAverage average(interval_s, 256);
  std::vector<PowerSpectrum> first, second;
  for (int record = 0; record < 100; ++record) {
    std::vector<double> a(512), b(512);
    random.add_white_noise(a, 0.001);
    random.add_white_noise(b, 0.002);
    const double phase = random.uniform(0, 2 * std::numbers::pi);
    add_line(a, 0.001, phase);
    add_line(b, 0.002, phase + 1);
    average.add(a, b);
    first.push_back(welch(a, interval_s, 256));
    second.push_back(welch(b, interval_s, 256));
  }
  const Coherence found = average.coherence();
  EXPECT_EQ(found.segments, 300U);
  // Line over noise in its bin: amplitude^2/4 * 256/(1.5 * variance) = 42 at the bin's middle, 0.97 and more.
  EXPECT_GT(coherence_at(found, line_hz), 0.9);
  // 1 in 1,000 of some 120 other bins over the chance level: 3 or more once in 3,500.
  int over = 0;
  for (std::size_t k = 2; k < found.coherence.size(); ++k) {
    if (std::abs(found.frequency_hz[k] - line_hz) > 60e6 && found.coherence[k] > found.chance_level) ++over;
  }
  EXPECT_LE(over, 2);
  const auto lines = common_lines(mean_of(first), mean_of(second), found);
  ASSERT_EQ(lines.size(), 1U);
  EXPECT_NEAR(lines[0].frequency_hz.value, line_hz, 4 * lines[0].frequency_hz.uncertainty);
}

TEST(coherence, one_signal_in_both_has_coherence_one_and_nothing_gives_nothing) {
  test::Random random(2);
  std::vector<double> a(512);
  random.add_white_noise(a, 1);
  CoherenceAverage average(interval_s, 128);
  average.add(a, a);
  for (const double value : average.coherence().coherence) EXPECT_NEAR(value, 1, 1e-12);
  EXPECT_TRUE(CoherenceAverage(interval_s).coherence().coherence.empty());
  EXPECT_TRUE(common_lines({}, {}, {}).empty());
}

}  // namespace
}  // namespace firstedge
