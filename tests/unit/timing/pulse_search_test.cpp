// Claims of the pulse search: which excursions are pulses, where they start and end, what is flagged.
#include "firstedge/timing/pulse_search.hpp"

#include "firstedge/core/error.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using Polarity = SearchOptions::Polarity;
using test::Random;

constexpr double interval_s = 0.2e-9;
constexpr double noise_v = 1e-3;
constexpr double load_ohm = 50;

const test::SmoothPulse& shape() {
  static const test::SmoothPulse pulse;
  return pulse;
}

void add_pulse(std::vector<double>& volts, double start_s, double height_v) {
  for (std::size_t k = 0; k < volts.size(); ++k)
    volts[k] += height_v * shape()(static_cast<double>(k) * interval_s - start_s);
}

std::vector<Pulse> found(const std::vector<double>& volts, const SearchOptions& options = {},
                         double deviation_v = noise_v) {
  return find_pulses(test::conditioned(volts, interval_s), white_noise(deviation_v, interval_s), load_ohm,
                     options);
}

/// What an AC coupling of time constant tau makes of a trace: the closed recursion of a first-order
/// high-pass.
std::vector<double> ac_coupled(const std::vector<double>& volts, double tau_s) {
  const double keep = std::exp(-interval_s / tau_s);
  std::vector<double> out(volts.size(), 0.0);
  for (std::size_t k = 1; k < volts.size(); ++k) out[k] = keep * (out[k - 1] + volts[k] - volts[k - 1]);
  return out;
}

TEST(pulse_search, a_trace_without_pulses_has_none_whatever_it_holds) {
  EXPECT_TRUE(found({}).empty());
  EXPECT_TRUE(found({0.0}).empty());
  EXPECT_TRUE(found(std::vector<double>(100, 0.0)).empty());
  EXPECT_TRUE(found(std::vector<double>(100, 0.0), {}, 0.0).empty());
  EXPECT_TRUE(found(std::vector<double>(100, std::nan(""))).empty());
}

TEST(pulse_search, samples_that_are_not_numbers_end_in_no_crash_and_leave_the_pulses_around_them) {
  std::vector<double> volts(600, 0.0);
  add_pulse(volts, 20e-9, 0.1);
  add_pulse(volts, 80e-9, 0.1);
  volts[250] = std::nan("");
  volts[251] = std::numeric_limits<double>::infinity();
  volts[252] = -std::numeric_limits<double>::infinity();
  const auto pulses = found(volts);
  EXPECT_EQ(std::count_if(pulses.begin(), pulses.end(),
                          [](const Pulse& p) { return std::abs(p.height_v - 0.1) < 1e-3; }),
            2);
}

TEST(pulse_search, a_pulse_of_either_polarity_is_found_with_its_start_peak_end_and_charge) {
  std::vector<double> volts(300, 0.0);
  add_pulse(volts, 20e-9, 0.06);
  for (const int polarity : {1, -1}) {
    std::vector<double> turned = volts;
    for (double& v : turned) v *= polarity;
    const auto pulses = found(turned);
    ASSERT_EQ(pulses.size(), 1U);
    const Pulse& pulse = pulses.front();
    EXPECT_EQ(pulse.polarity, polarity);
    EXPECT_EQ(pulse.peak,
              static_cast<std::size_t>(std::max_element(volts.begin(), volts.end()) - volts.begin()));
    EXPECT_DOUBLE_EQ(pulse.height_v, volts[pulse.peak]);
    EXPECT_TRUE(pulse.flags.empty()) << to_text(pulse.flags);
    // The region runs from a thousandth of the height to a thousandth: the last sample below, the first
    // below.
    EXPECT_LE(volts[pulse.region.first], 1e-3 * pulse.height_v);
    EXPECT_GT(volts[pulse.region.first + 1], 1e-3 * pulse.height_v);
    EXPECT_LE(volts[pulse.region.last - 1], 1e-3 * pulse.height_v);
    EXPECT_GT(volts[pulse.region.last - 2], 1e-3 * pulse.height_v);
    // Area of the double exponential through a Gaussian: decay - rise over the peak of the unscaled pulse;
    // here by the sum of all samples. Tolerance: what a thousandth of the height leaves in a 3 ns tail (0.1
    // %).
    const double area = std::accumulate(volts.begin(), volts.end(), 0.0) * interval_s;
    EXPECT_NEAR(pulse.charge_c, area / load_ohm, 2e-3 * area / load_ohm);
  }
  EXPECT_TRUE(found(volts, {.polarity = Polarity::negative}).empty());
  const auto no_load =
      find_pulses(test::conditioned(volts, interval_s), white_noise(noise_v, interval_s), std::nan(""), {});
  EXPECT_TRUE(std::isnan(no_load.at(0).charge_c));
}

TEST(pulse_search, scale_and_shift_of_a_trace_scale_and_shift_what_is_found) {
  std::vector<double> volts(400, 0.0);
  Random random(11);
  random.add_white_noise(volts, noise_v);
  add_pulse(volts, 20e-9, 0.05);
  add_pulse(volts, 45e-9, 0.08);
  const auto pulses = found(volts);
  ASSERT_EQ(pulses.size(), 2U);
  std::vector<double> scaled = volts, shifted(7, 0.0);
  for (double& v : scaled) v *= 4;  // a power of two: the same bits
  shifted.insert(shifted.end(), volts.begin(), volts.end());
  const auto big = found(scaled, {}, 4 * noise_v);
  const auto late = found(shifted);
  ASSERT_EQ(big.size(), 2U);
  ASSERT_EQ(late.size(), 2U);
  for (std::size_t i = 0; i < 2; ++i) {
    EXPECT_EQ(big[i].region, pulses[i].region);
    EXPECT_DOUBLE_EQ(big[i].height_v, 4 * pulses[i].height_v);
    EXPECT_EQ(late[i].peak, pulses[i].peak + 7);
    EXPECT_EQ(late[i].region.first, pulses[i].region.first + 7);
  }
}

TEST(pulse_search, the_threshold_is_in_noise_or_in_volts) {
  std::vector<double> volts(300, 0.0);
  add_pulse(volts, 20e-9, 7.5e-3);
  EXPECT_EQ(found(volts).size(), 1U);
  EXPECT_EQ(found(volts, {.threshold_over_noise = 8}).size(), 0U);
  EXPECT_EQ(found(volts, {.threshold_v = 5e-3}, 10 * noise_v).size(), 1U);
  EXPECT_EQ(found(volts, {.threshold_v = 8e-3}).size(), 0U);
  EXPECT_EQ(found(volts, {}, 0.0).size(), 1U) << "noiseless traces have a threshold of their own";
}

TEST(pulse_search, several_pulses_come_in_order_and_are_cut_at_the_most_wanted) {
  std::vector<double> volts(2000, 0.0);
  for (int i = 0; i < 8; ++i) add_pulse(volts, 20e-9 + 45e-9 * i, (i % 2 == 0 ? 1 : -1) * 0.05);
  const auto pulses = found(volts);
  ASSERT_EQ(pulses.size(), 8U);
  for (std::size_t i = 0; i < 8; ++i) {
    EXPECT_EQ(pulses[i].polarity, i % 2 == 0 ? 1 : -1);
    if (i > 0) {
      EXPECT_GT(pulses[i].region.first, pulses[i - 1].peak);
    }
    EXPECT_TRUE(pulses[i].flags.empty());
  }
  const auto three = found(volts, {.most_pulses = 3});
  ASSERT_EQ(three.size(), 3U);
  EXPECT_TRUE(three[2].flags.has(Flag::piled_up));
  EXPECT_FALSE(three[1].flags.has(Flag::piled_up));

  const auto windowed = found(volts, {.window_s = std::pair{50e-9, 150e-9}});
  ASSERT_EQ(windowed.size(), 2U);
  EXPECT_EQ(windowed[0].peak, pulses[1].peak);
}

TEST(pulse_search, pulses_closer_than_the_dead_time_are_one_with_the_higher_peak) {
  std::vector<double> volts(500, 0.0);
  add_pulse(volts, 20e-9, 0.05);
  add_pulse(volts, 50e-9, 0.08);
  EXPECT_EQ(found(volts, {.dead_time_s = 29e-9}).size(), 2U);
  const auto one = found(volts, {.dead_time_s = 31e-9});
  ASSERT_EQ(one.size(), 1U);
  EXPECT_NEAR(one[0].height_v, 0.08, 1e-3);
  EXPECT_LT(one[0].region.first, 105U);
  EXPECT_GT(one[0].region.last, 300U);
}

TEST(pulse_search, the_undershoot_of_an_ac_coupling_is_not_a_pulse) {
  // A coupling of 30 ns gives an 8 % undershoot (48 standard deviations) that lasts for 100 ns.
  std::vector<double> clean(1500, 0.0);
  add_pulse(clean, 40e-9, 0.6);
  const std::vector<double> coupled = ac_coupled(clean, 30e-9);
  ASSERT_LT(*std::min_element(coupled.begin(), coupled.end()), -0.04);
  for (const int polarity : {1, -1}) {
    Random random(5);
    for (int trial = 0; trial < 300; ++trial) {
      std::vector<double> volts = coupled;
      for (double& v : volts) v *= polarity;
      random.add_white_noise(volts, noise_v);
      const auto pulses = found(volts);
      ASSERT_EQ(pulses.size(), 1U);
      ASSERT_EQ(pulses[0].polarity, polarity);
    }
  }
}

TEST(pulse_search, an_undershoot_barely_over_the_threshold_is_none_either) {
  // A long coupling: -7 standard deviations for microseconds, crossed by noise again and again.
  std::vector<double> clean(3000, 0.0);
  add_pulse(clean, 40e-9, 0.6);
  std::vector<double> coupled = ac_coupled(clean, 300e-9);
  const double depth = -*std::min_element(coupled.begin(), coupled.end());
  for (double& v : coupled) v *= 7 * noise_v / depth;
  Random random(6);
  for (int trial = 0; trial < 100; ++trial) {
    std::vector<double> volts = coupled;
    random.add_white_noise(volts, noise_v);
    ASSERT_EQ(found(volts).size(), 1U) << trial;
  }
}

TEST(pulse_search, a_true_pulse_of_the_other_polarity_is_one_after_a_rest_or_when_it_is_large) {
  std::vector<double> small_later(1000, 0.0), large_at_once(1000, 0.0);
  add_pulse(small_later, 40e-9, 0.3);
  add_pulse(small_later, 140e-9, -0.05);
  add_pulse(large_at_once, 40e-9, 0.3);
  add_pulse(large_at_once, 60e-9, -0.2);
  for (const auto& clean : {small_later, large_at_once}) {
    std::vector<double> volts = clean;
    Random(3).add_white_noise(volts, noise_v);
    const auto pulses = found(volts);
    ASSERT_EQ(pulses.size(), 2U);
    EXPECT_EQ(pulses[1].polarity, -1);
  }
}

TEST(pulse_search, two_pulses_riding_on_each_other_are_two_and_both_flagged) {
  Random random(8);
  int two = 0;
  constexpr int trials = 200;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> volts(300, 0.0);
    add_pulse(volts, 20e-9, 0.06);
    add_pulse(volts, 23e-9, 0.06);  // one decay time later: the first is down to a third
    random.add_white_noise(volts, noise_v);
    const auto pulses = found(volts);
    if (pulses.size() != 2) continue;
    ++two;
    EXPECT_TRUE(pulses[0].flags.has(Flag::piled_up));
    EXPECT_TRUE(pulses[1].flags.has(Flag::piled_up));
    EXPECT_LT(pulses[0].peak, pulses[1].region.first);
    EXPECT_LE(pulses[0].region.last, pulses[1].region.first + 1);
    EXPECT_LT(pulses[1].region.first, pulses[1].peak);
  }
  EXPECT_EQ(two, trials);
}

TEST(pulse_search, a_long_noisy_tail_is_one_pulse) {
  // 300 ns of tail: 1,500 samples that fall slowly through the threshold. A false second pulse needs a rise
  // of sqrt(2) * 6 standard deviations between two samples: below 1e-5 a trace.
  Random random(9);
  for (int trial = 0; trial < 200; ++trial) {
    std::vector<double> volts(4000, 0.0);
    for (std::size_t k = 200; k < volts.size(); ++k)
      volts[k] = 0.1 * std::exp(-static_cast<double>(k - 200) / 300.0);
    random.add_white_noise(volts, noise_v);
    ASSERT_EQ(found(volts).size(), 1U) << trial;
  }
}

TEST(pulse_search, ringing_below_its_share_is_not_a_second_pulse) {
  std::vector<double> volts(400, 0.0);
  for (std::size_t k = 100; k < volts.size(); ++k) {
    const double t = static_cast<double>(k - 100);
    volts[k] = std::exp(-t / 60) * (1 - std::exp(-t / 2)) + 0.03 * std::exp(-t / 200) * std::sin(t / 2);
  }
  EXPECT_EQ(found(volts).size(), 1U);
  EXPECT_GT(found(volts, {.ringing_share = 0}).size(), 1U);
}

TEST(pulse_search, noise_alone_is_a_pulse_as_rarely_as_the_header_says) {
  // 2 Q(k) a sample, Q(4) = 3.167e-5 and Q(6) = 9.866e-10 (NIST/SEMATECH e-Handbook, 1.3.6.7.1, from erfc).
  Random random(10);
  std::vector<double> volts(1000);
  std::size_t at_four = 0, at_six = 0;
  constexpr int traces = 1000;
  for (int trace = 0; trace < traces; ++trace) {
    std::fill(volts.begin(), volts.end(), 0.0);
    random.add_white_noise(volts, noise_v);
    at_four += found(volts, {.threshold_over_noise = 4, .most_pulses = 1000}).size();
    at_six += found(volts).size();
  }
  const double expected = 1e3 * traces * std::erfc(4 / std::sqrt(2.0));
  // Poisson: 4 standard deviations. Two neighbouring samples over the threshold count once: 1e-4 of them.
  EXPECT_NEAR(static_cast<double>(at_four), expected, 4 * std::sqrt(expected));
  EXPECT_EQ(at_six, 0U);  // expected 0.002
}

TEST(pulse_search, every_reason_to_distrust_a_pulse_is_flagged) {
  std::vector<double> early(300, 0.0), late(300, 0.0), low(300, 0.0);
  add_pulse(early, 0.5e-9, 0.06);
  add_pulse(late, 58e-9, 0.06);
  add_pulse(low, 20e-9, 9 * noise_v);
  EXPECT_TRUE(found(early).at(0).flags.has(Flag::edge_of_record));
  EXPECT_TRUE(found(late).at(0).flags.has(Flag::edge_of_record));
  EXPECT_EQ(found(low).at(0).flags, FlagSet(Flag::low_signal));

  std::vector<double> good(600, 0.0);
  add_pulse(good, 20e-9, 0.06);
  add_pulse(good, 80e-9, 0.06);
  ConditionedTrace trace = test::conditioned(good, interval_s);
  trace.clipped = {{5, 7}, {108, 110}, {550, 600}};
  const auto clipped = find_pulses(trace, white_noise(noise_v, interval_s), load_ohm, {});
  ASSERT_EQ(clipped.size(), 2U);
  EXPECT_EQ(clipped[0].flags, FlagSet(Flag::clipped));
  EXPECT_TRUE(clipped[1].flags.empty());
  trace.clipped.clear();
  trace.flags = Flag::no_baseline;
  EXPECT_EQ(find_pulses(trace, white_noise(noise_v, interval_s), load_ohm, {}).at(1).flags,
            FlagSet(Flag::no_baseline));
}

TEST(pulse_search, settings_become_options_and_nonsense_is_refused_with_its_place) {
  Settings settings("bench.json, search");
  settings.set("polarity", "negative");
  settings.set("threshold", "20 mV");
  settings.set("most_pulses", 2.0);
  settings.set("dead_time", "5 ns");
  const SearchOptions options = search_options(settings);
  EXPECT_EQ(options.polarity, Polarity::negative);
  EXPECT_DOUBLE_EQ(options.threshold_v.value(), 0.02);
  EXPECT_EQ(options.most_pulses, 2U);
  EXPECT_DOUBLE_EQ(options.dead_time_s, 5e-9);

  const auto refused = [](const std::string& name, Settings::Value value) {
    Settings bad("setup");
    bad.set(name, std::move(value));
    EXPECT_THROW(search_options(bad), Error) << name;
  };
  refused("polarity", {std::string("up")});
  refused("threshold", {std::string("-1 mV")});
  refused("threshold_over_noise", {0.0});
  refused("threshold_over_noise", {std::nan("")});
  refused("most_pulses", {0.5});
  refused("most_pulses", {1e9});
  refused("dead_time", {-1.0});
  refused("undershoot_share", {1.5});
  refused("treshold", {1.0});
}

}  // namespace
}  // namespace firstedge
