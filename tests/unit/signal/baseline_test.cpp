// Claims of the baseline: right beside pulses of any kind, honest about its uncertainty, flagged when there
// is none.
#include "firstedge/signal/baseline.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/level_statistics.hpp"
#include "firstedge/signal/quiet_stretches.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using Method = BaselineOptions::Method;

constexpr std::array all_methods{Method::mean, Method::median, Method::mode, Method::line};
constexpr double noise_v = 1e-3;
constexpr double interval_s = 0.2e-9;

/// Noise of the given lag-one correlation and standard deviation.
std::vector<double> correlated_noise(test::Random& random, std::size_t samples, double correlation,
                                     double deviation) {
  std::vector<double> noise(samples);
  double last = random.normal(0, deviation);
  const double fresh = deviation * std::sqrt(1 - correlation * correlation);
  for (double& value : noise) value = last = correlation * last + random.normal(0, fresh);
  return noise;
}

/// What many baselines of one kind of record were like.
struct Account {
  double mean_pull = 0;  ///< of (level - truth)/uncertainty
  double pull_deviation = 0;
  double within_one = 0;   ///< share of truths within one uncertainty
  double mean_window = 0;  ///< share of the record
  int flagged = 0;
};

Account account_of(std::size_t samples, double correlation, const BaselineOptions& options,
                   const std::function<double(double)>& pulse, int trials, std::uint64_t seed) {
  test::Random random(seed);
  constexpr double level_v = 0.0123;
  Account account;
  double squares = 0;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> volts = correlated_noise(random, samples, correlation, noise_v);
    for (std::size_t i = 0; i < samples; ++i)
      volts[i] += level_v + pulse(static_cast<double>(i) / static_cast<double>(samples));
    const Baseline baseline = measure_baseline(volts, interval_s, 0, options);
    const double pull = (baseline.level_v.value - level_v) / baseline.level_v.uncertainty;
    account.mean_pull += pull / trials;
    squares += pull * pull / trials;
    account.within_one += std::abs(pull) < 1 ? 1.0 / trials : 0;
    account.mean_window +=
        static_cast<double>(baseline.window.size()) / static_cast<double>(samples) / trials;
    account.flagged += baseline.flags.empty() ? 0 : 1;
  }
  account.pull_deviation = std::sqrt(squares);
  return account;
}

double no_pulse(double /*part*/) {
  return 0;
}

/// A pulse of 60 times the noise at a part of the record, decaying over another.
std::function<double(double)> pulse_at(double start, double decay, double sign = 1) {
  return [=](double part) {
    const double since = (part - start) / decay;
    return since <= 0 ? 0 : sign * 60 * noise_v * std::exp(-since) * (1 - std::exp(-10 * since));
  };
}

TEST(baseline, its_uncertainty_holds_for_white_and_correlated_noise_by_every_method) {
  for (const Method method : all_methods) {
    for (const double correlation : {0.0, 0.7, 0.9}) {
      const Account account = account_of(1000, correlation, {.method = method}, no_pulse, 300, 11);
      // 300 pulls: their deviation spreads by 1/sqrt(600) = 4 %; the bound of the header is 0.9 to 1.25.
      EXPECT_GT(account.pull_deviation, 0.82) << static_cast<int>(method) << " " << correlation;
      EXPECT_LT(account.pull_deviation, 1.25) << static_cast<int>(method) << " " << correlation;
      // 68.3 % of 300 spreads by 2.7 %.
      EXPECT_NEAR(account.within_one, 0.683, 0.08) << static_cast<int>(method) << " " << correlation;
      EXPECT_EQ(account.flagged, 0);
    }
  }
}

TEST(baseline, few_samples_give_a_wider_but_sound_answer) {
  for (const std::size_t samples : {8U, 12U, 20U, 50U}) {
    const Account account = account_of(samples, 0, {}, no_pulse, 500, 12);
    EXPECT_EQ(account.flagged, 0) << samples;
    // Few degrees of freedom widen the pulls like Student's law; the share within one falls to 0.62.
    EXPECT_NEAR(account.within_one, 0.683, 0.08) << samples;
  }
}

TEST(baseline, found_automatically_it_is_not_moved_by_pulses_of_any_place_or_sign) {
  const std::vector<std::pair<const char*, std::function<double(double)>>> pulses{
      {"late", pulse_at(0.6, 0.05)},
      {"negative", pulse_at(0.4, 0.05, -1)},
      {"at the start", pulse_at(-0.01, 0.05)},
      {"long tail", pulse_at(0.25, 0.4)},
      {"plateau", [](double part) { return part > 0.3 ? 60 * noise_v : 0; }},
      {"two signs", [](double part) { return pulse_at(0.4, 0.04)(part) + pulse_at(0.7, 0.04, -1)(part); }},
      {"undershoot",
       [](double part) { return pulse_at(0.4, 0.03)(part) - 0.2 * pulse_at(0.42, 0.3)(part); }}};
  for (const std::size_t samples : {200U, 1000U}) {
    for (const auto& [name, pulse] : pulses) {
      const Account account = account_of(samples, 0, {}, pulse, 200, 13);
      // The mean of 200 pulls spreads by 0.07; a tail left at 2 % of the noise moves it by up to 0.4.
      EXPECT_NEAR(account.mean_pull, 0, 0.6) << name << " " << samples;
      EXPECT_LT(account.pull_deviation, 1.25) << name << " " << samples;
      EXPECT_GT(account.mean_window, 0.2) << name << " " << samples;
      EXPECT_EQ(account.flagged, 0) << name << " " << samples;
    }
  }
}

TEST(baseline, the_quiet_stretch_before_the_first_pulse_is_preferred) {
  test::Random random(14);
  std::vector<double> volts = correlated_noise(random, 500, 0, noise_v);
  for (std::size_t i = 0; i < volts.size(); ++i)
    volts[i] += pulse_at(0.2, 0.02)(static_cast<double>(i) / 500.0);
  const Baseline baseline = measure_baseline(volts, interval_s, -20e-9, {});
  EXPECT_EQ(baseline.window.first, 0U);
  EXPECT_LE(baseline.window.last, 101U);
  EXPECT_GE(baseline.window.last, 90U);
  EXPECT_NEAR(baseline.middle_s, -20e-9 + 0.5 * static_cast<double>(baseline.window.last - 1) * interval_s,
              1e-15);
}

TEST(baseline, a_pulse_in_the_stated_window_is_left_out_and_told) {
  for (const double sign : {1.0, -1.0}) {
    test::Random random(15);
    std::vector<double> volts = correlated_noise(random, 500, 0, noise_v);
    for (std::size_t i = 0; i < volts.size(); ++i)
      volts[i] += 0.5 + pulse_at(0.1, 0.01, sign)(static_cast<double>(i) / 500.0);
    const BaselineOptions options{.method = Method::mean, .window_s = std::pair{0.0, 40e-9}};
    const Baseline baseline = measure_baseline(volts, interval_s, 0, options);
    EXPECT_EQ(baseline.flags, FlagSet(Flag::piled_up));
    EXPECT_EQ(baseline.window, (SampleRange{0, 200}));
    EXPECT_LT(baseline.samples_used, 190U);
    EXPECT_GT(baseline.samples_used, 100U);
    EXPECT_NEAR(baseline.level_v.value, 0.5, 4 * baseline.level_v.uncertainty);
    EXPECT_NEAR(baseline.rms_v, noise_v, 0.2 * noise_v);
  }
}

TEST(baseline, a_stated_window_without_pulses_is_used_whole_and_rarely_doubted) {
  int doubted = 0;
  for (std::uint64_t seed = 0; seed < 1000; ++seed) {
    test::Random random(seed);
    const std::vector<double> volts = correlated_noise(random, 400, 0.5, noise_v);
    const BaselineOptions options{.method = Method::mean, .window_s = std::pair{2e-9, 12e-9}};
    doubted += measure_baseline(volts, interval_s, 0, options).flags.empty() ? 0 : 1;
  }
  EXPECT_LE(doubted, 5);
}

TEST(baseline, a_sloped_line_is_followed_and_its_slope_known) {
  test::Random random(16);
  constexpr double slope = 2e4;  // V/s: 4 mV over 1000 samples
  double squares = 0;
  constexpr int trials = 200;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> volts = correlated_noise(random, 1000, 0.5, noise_v);
    for (std::size_t i = 0; i < volts.size(); ++i)
      volts[i] +=
          slope * static_cast<double>(i) * interval_s + pulse_at(0.5, 0.02)(static_cast<double>(i) / 1000.0);
    const Baseline baseline = measure_baseline(volts, interval_s, 0, {.method = Method::line});
    EXPECT_NEAR(baseline.level_v.value, slope * baseline.middle_s, 5 * baseline.level_v.uncertainty);
    squares += std::pow((baseline.slope_v_per_s - slope) / baseline.slope_uncertainty_v_per_s, 2) / trials;
  }
  // 200 pulls spread by 5 %; the window's approximation by as much as the level's.
  EXPECT_NEAR(std::sqrt(squares), 1.0, 0.25);
}

TEST(baseline, constants_have_no_noise_and_the_uncertainty_of_their_rounding) {
  const std::vector<double> volts(64, 0.25);
  for (const Method method : all_methods) {
    const Baseline exact = measure_baseline(volts, interval_s, 0, {.method = method});
    EXPECT_DOUBLE_EQ(exact.level_v.value, 0.25);
    EXPECT_EQ(exact.level_v.uncertainty, 0);
    const Baseline counted =
        measure_baseline(volts, interval_s, 0, {.method = method}, {.step_v = 0.01, .clipped = {}});
    EXPECT_NEAR(counted.level_v.value, 0.25, 1e-12);
    EXPECT_NEAR(counted.level_v.uncertainty, 0.01 / std::sqrt(12.0), 1e-12);
    EXPECT_TRUE(counted.flags.empty());
  }
}

TEST(baseline, levels_of_coarse_counts_are_divided_by_every_method) {
  // Noise of half a count: rounded samples take three values, and their level lies between them.
  constexpr double step = 2 * noise_v;
  for (const Method method : all_methods) {
    double worst = 0;
    for (int tenths = 0; tenths < 10; ++tenths) {
      test::Random random(17);
      std::vector<double> volts = correlated_noise(random, 4000, 0, noise_v);
      const double level = 0.1 * tenths * step;
      for (double& value : volts) value = step * std::round((value + level) / step);
      const Baseline baseline =
          measure_baseline(volts, interval_s, 0, {.method = method}, {.step_v = step, .clipped = {}});
      worst = std::max(worst, std::abs(baseline.level_v.value - level));
    }
    // Spread of a median of 4000: 1.25 * 0.5 step / 63 = 0.01 step, four of them, and 0.02 for the grouping.
    EXPECT_LT(worst, 0.06 * step) << static_cast<int>(method);
  }
}

TEST(baseline, without_an_undisturbed_stretch_it_is_a_flagged_guess) {
  EXPECT_TRUE(measure_baseline({}, interval_s, 0, {}).flags.has(Flag::no_baseline));
  const std::vector<double> few{0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1};
  const Baseline of_few = measure_baseline(few, interval_s, 0, {});
  EXPECT_TRUE(of_few.flags.has(Flag::no_baseline));
  EXPECT_DOUBLE_EQ(of_few.level_v.value, 0.1);
  // All samples at the digitizer's limit.
  const std::vector<double> rail(100, -0.5);
  const std::vector<SampleRange> clipped{{0, 100}};
  EXPECT_TRUE(measure_baseline(rail, interval_s, 0, {}, {.step_v = 0, .clipped = clipped})
                  .flags.has(Flag::no_baseline));
  // A window outside the record.
  const BaselineOptions outside{.method = Method::mean, .window_s = std::pair{-2e-9, -1e-9}};
  const Baseline of_outside = measure_baseline(rail, interval_s, 0, outside);
  EXPECT_TRUE(of_outside.flags.has(Flag::no_baseline));
  EXPECT_DOUBLE_EQ(of_outside.level_v.value, -0.5);
}

TEST(baseline, samples_that_are_no_numbers_are_left_out) {
  test::Random random(18);
  std::vector<double> volts = correlated_noise(random, 300, 0, noise_v);
  for (const std::size_t i : {150U, 151U, 290U}) volts[i] = std::numeric_limits<double>::quiet_NaN();
  volts[200] = std::numeric_limits<double>::infinity();
  for (const Method method : all_methods) {
    const Baseline baseline = measure_baseline(volts, interval_s, 0, {.method = method});
    EXPECT_NEAR(baseline.level_v.value, 0, 5 * noise_v / std::sqrt(140.0));
    EXPECT_TRUE(std::isfinite(baseline.level_v.uncertainty));
  }
}

TEST(baseline, it_moves_with_an_offset_scales_with_a_factor_and_turns_with_the_sign) {
  test::Random random(19);
  std::vector<double> volts = correlated_noise(random, 400, 0.3, noise_v);
  for (std::size_t i = 0; i < volts.size(); ++i)
    volts[i] += pulse_at(0.5, 0.05)(static_cast<double>(i) / 400.0);
  std::vector<double> changed = volts;
  for (double& value : changed) value = -3 * value + 1;
  for (const Method method : all_methods) {
    const Baseline a = measure_baseline(volts, interval_s, 0, {.method = method});
    const Baseline b = measure_baseline(changed, interval_s, 0, {.method = method});
    EXPECT_NEAR(b.level_v.value, -3 * a.level_v.value + 1, 1e-9 * noise_v + 1e-13);
    EXPECT_NEAR(b.level_v.uncertainty, 3 * a.level_v.uncertainty, 1e-9);
    EXPECT_EQ(a.window, b.window);
  }
}

TEST(baseline, quiet_ranges_leave_every_pulse_out) {
  test::Random random(20);
  std::vector<double> volts = correlated_noise(random, 1000, 0, noise_v);
  const std::vector<double> clean = volts;
  for (std::size_t i = 0; i < volts.size(); ++i) {
    const double part = static_cast<double>(i) / 1000.0;
    volts[i] += pulse_at(0.3, 0.01)(part) + pulse_at(0.7, 0.01, -1)(part);
  }
  const std::vector<SampleRange> ranges = quiet_ranges(volts);
  ASSERT_EQ(ranges.size(), 3U);
  std::size_t quiet = 0;
  for (const SampleRange& range : ranges) {
    quiet += range.size();
    for (std::size_t i = range.first; i < range.last; ++i) EXPECT_LT(std::abs(volts[i] - clean[i]), noise_v);
  }
  EXPECT_GT(quiet, 700U);
}

TEST(baseline, its_settings_are_read_and_others_refused) {
  Settings settings("setup, baseline");
  settings.set("method", "mode");
  settings.set("window", Settings::Value{Settings::List{{std::string("-20 ns")}, {std::string("-2 ns")}}});
  const BaselineOptions options = baseline_options(settings);
  EXPECT_EQ(options.method, Method::mode);
  EXPECT_EQ(options.window_s, (std::pair{-20e-9, -2e-9}));
  settings.set("widnow", "1 ns");
  EXPECT_THROW(baseline_options(settings), Error);
}

TEST(level_statistics, rounding_leaves_a_twelfth_of_a_squared_step_without_noise_and_nothing_with_it) {
  EXPECT_EQ(rounding_uncertainty(0, 1), 0);
  EXPECT_NEAR(rounding_uncertainty(2, 0), 2 / std::sqrt(12.0), 1e-12);
  EXPECT_LT(rounding_uncertainty(1, std::hypot(0.4, 1 / std::sqrt(12.0))), 0.01);
  // Against the definition: the root mean square over levels of E[round(level + noise)] - level.
  const double noise = 0.25;
  double squares = 0;
  constexpr int levels = 400;
  for (int k = 0; k < levels; ++k) {
    const double level = (k + 0.5) / levels - 0.5;
    double mean = 0;
    for (int code = -5; code <= 5; ++code) {
      const auto below = [&](double edge) {
        return 0.5 * std::erfc((level - edge) / (noise * std::sqrt(2.0)));
      };
      mean += code * (below(code + 0.5) - below(code - 0.5));
    }
    squares += (mean - level) * (mean - level) / levels;
  }
  const double recorded = std::hypot(noise, 1 / std::sqrt(12.0));
  EXPECT_NEAR(rounding_uncertainty(1, recorded), std::sqrt(squares), 1e-6);
}

TEST(level_statistics, what_is_surely_near_the_level_is_found_near_it_by_sorting) {
  std::mt19937 random(20261201);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> uniform(0, 8);
  int sure = 0, near = 0;
  for (int trial = 0; trial < 2000; ++trial) {
    std::vector<double> values(static_cast<std::size_t>(1 + trial % 1500));
    for (double& value : values) value = 0.3 + normal(random);
    if (trial % 3 == 0) values[values.size() / 2] += uniform(random);
    if (trial % 5 == 0)
      std::fill(values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2), values.end(), 2.0);
    const double distance = uniform(random);
    const double centre = shortest_quarter(values, 0).centre;
    const bool all_near = std::all_of(values.begin(), values.end(),
                                      [&](double value) { return std::abs(value - centre) <= distance; });
    near += all_near ? 1 : 0;
    if (!surely_near_level(values, distance)) continue;
    ++sure;
    EXPECT_TRUE(all_near) << trial;
  }
  EXPECT_GT(sure, near / 2);  // and it does see most of them
  EXPECT_TRUE(surely_near_level({}, 0));
}

TEST(level_statistics, the_shortest_quarter_gives_the_deviation_at_every_size) {
  for (const std::size_t samples : {8U, 16U, 40U, 100U, 400U, 4096U}) {
    test::Random random(21);
    double sum = 0;
    constexpr int trials = 300;
    for (int trial = 0; trial < trials; ++trial) {
      std::vector<double> values(samples, 0.0);
      random.add_white_noise(values, 1);
      sum += shortest_quarter(values, 0).deviation / trials;
    }
    EXPECT_NEAR(sum, 1, 0.15) << samples;  // the bound of the header
  }
}

/// The plain twin: blocks of a sixteenth of the record, 8 to 64 samples, their variances in order.
TEST(quiet_deviation, is_the_lower_quartile_of_the_blocks_deviations) {
  test::Random random(23);
  for (const std::size_t size : {8U, 17U, 100U, 1000U, 1023U, 2047U, 5000U}) {
    std::vector<double> values(size);
    for (double& value : values) value = std::round(random.normal(0, 3));
    const std::size_t block = std::clamp<std::size_t>(size / 16, 8, 64);
    std::vector<double> deviations;
    for (std::size_t first = 0; first + block <= size; first += block)
      deviations.push_back(deviation_of(std::span(values).subspan(first, block)));
    std::sort(deviations.begin(), deviations.end());
    const double expected = deviations[deviations.size() / 4];
    EXPECT_NEAR(quiet_deviation(values), expected, 1e-12 * expected) << size;  // rounding
    EXPECT_EQ(quiet_deviation(std::vector<double>(size, 2.0)), 0) << size;
  }
}

}  // namespace
}  // namespace firstedge
