// What the amplitude analysis promises: nothing lost without a count, clipped pulses told and not fitted,
// pedestals where they are given, names checked.
#include "firstedge/amplitude/amplitude.hpp"

#include "firstedge/core/error.hpp"

#include "support/random.hpp"
#include "support/result_parts.hpp"
#include "support/sentence_of.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::cell_of;
using test::count_of;
using test::figure_of;
using test::plot_of;
using test::table_of;
using testing::Contains;
using testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// Normal heights with a tail: good enough where no fit is looked at.
std::vector<Stamp> pulses_of(std::size_t count, std::uint64_t seed) {
  test::Random random(seed);
  std::vector<Stamp> stamps;
  for (std::size_t record = 0; record < count; ++record) {
    Stamp stamp{.record = record};
    stamp.height_v = random.normal(0.2, 0.02) + 0.02 / random.uniform(0.05, 1);
    stamp.charge_c = 1e-11 * stamp.height_v;
    stamp.noise_v = 2e-3;
    stamp.baseline_v = random.normal(1e-3, 1e-4);
    stamps.push_back(stamp);
  }
  return stamps;
}

AmplitudePulses gathered(const std::vector<Stamp>& stamps) {
  AmplitudePulses pulses({"S1"});
  pulses.add(stamps);
  return pulses;
}

TEST(amplitude, every_pulse_is_shown_or_counted_by_its_reason) {
  std::vector<Stamp> stamps = pulses_of(400, 3);
  stamps[0].flags = Flag::piled_up | Flag::edge_of_record;
  stamps[1].flags = Flag::no_baseline;
  stamps[2].flags = Flag::not_timed;  // its height is as good as any
  stamps[3].height_v = stamps[3].charge_c = nan;
  stamps[4].charge_c = nan;
  stamps[5].method = 1;
  stamps[6].flags = Flag::clipped;
  const Result result = analyse_amplitude(gathered(stamps));
  const auto count = [&](const std::string& what) { return count_of(result, "S1", what); };
  EXPECT_EQ(count("stamps without a pulse"), 1);
  EXPECT_EQ(count("pulses"), 398);
  EXPECT_EQ(count("left out: flagged"), 2);
  EXPECT_EQ(count("  of these piled_up"), 1);
  EXPECT_EQ(count("  of these edge_of_record"), 1);
  EXPECT_EQ(count("  of these no_baseline"), 1);
  EXPECT_EQ(count("shown"), 396);
  EXPECT_EQ(count("  of these clipped"), 1);
  EXPECT_EQ(count("  of these without a charge"), 1);
  EXPECT_EQ(figure_of(result, "pulses_1").value, 396);
}

TEST(amplitude, clipped_pulses_end_the_fitted_range_and_are_told) {
  std::vector<Stamp> stamps = pulses_of(1000, 3);
  std::size_t clipped = 0;
  for (Stamp& stamp : stamps) {
    if (stamp.height_v < 0.4) continue;
    stamp.height_v = 0.4;
    stamp.flags |= Flag::clipped;
    ++clipped;
  }
  const Result result = analyse_amplitude(gathered(stamps));
  EXPECT_EQ(cell_of(table_of(result, "height_fits"), 0, "high").value, 0.4);
  EXPECT_EQ(cell_of(table_of(result, "height_fits"), 0, "inside").value, static_cast<double>(1000 - clipped));
  EXPECT_DOUBLE_EQ(figure_of(result, "clipped_share_1").value, static_cast<double>(clipped) / 1000);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("are clipped")));
  const Plot& plot = plot_of(result, "height_1");
  ASSERT_GE(plot.series.size(), 2U);
  double shown = 0;
  for (const double count : plot.series[1].y) shown += count;
  EXPECT_EQ(shown, static_cast<double>(clipped));
}

TEST(amplitude, without_a_pedestal_measured_the_noise_of_a_sample_stands_for_it) {
  const Result result = analyse_amplitude(gathered(pulses_of(500, 3)));
  const Table& channels = table_of(result, "channels");
  EXPECT_EQ(cell_of(channels, 0, "pedestal").value, 0);
  EXPECT_EQ(cell_of(channels, 0, "noise").value, 2e-3);
  EXPECT_NEAR(cell_of(channels, 0, "signal_to_noise").value,
              figure_of(result, "most_probable_height_1").value / 2e-3, 1e-9);
  EXPECT_TRUE(std::isnan(cell_of(channels, 0, "charge_noise").value));
  // Four standard errors of 1e-4/sqrt(500).
  EXPECT_NEAR(cell_of(channels, 0, "baseline").value, 1e-3, 4 * 4.5e-6);
}

TEST(amplitude, a_pedestal_measured_is_taken_and_shown) {
  test::Random random(8);
  AmplitudeOptions options{.pedestals = {{.channel = "S1"}}};
  for (int i = 0; i < 1000; ++i) {
    options.pedestals[0].height_v.push_back(random.normal(5e-3, 1e-3));
    options.pedestals[0].charge_c.push_back(random.normal(1e-13, 5e-14));
  }
  options.pedestals[0].height_v.push_back(nan);
  const Result result = analyse_amplitude(gathered(pulses_of(500, 3)), options);
  const Table& channels = table_of(result, "channels");
  // Four standard errors of the pedestals.
  EXPECT_NEAR(cell_of(channels, 0, "pedestal").value, 5e-3, 4 * 3.2e-5);
  EXPECT_NEAR(cell_of(channels, 0, "noise").value, 1e-3, 4 * 2.3e-5);
  EXPECT_NEAR(cell_of(channels, 0, "charge_pedestal").value, 1e-13, 4 * 1.6e-15);
  EXPECT_GT(cell_of(channels, 0, "charge_signal_to_noise").value, 30);
  EXPECT_THAT(plot_of(result, "height_1").series,
              Contains(testing::Field(&Series::label, HasSubstr("pedestal"))));
}

TEST(amplitude, a_channel_without_pulses_gives_counts_and_a_warning) {
  AmplitudePulses pulses({"S1", "S2"});
  pulses.add(pulses_of(200, 3));
  const Result result = analyse_amplitude(pulses);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("S2: no usable pulses")));
  EXPECT_EQ(count_of(result, "S2", "shown"), 0);
  EXPECT_TRUE(std::isnan(figure_of(result, "most_probable_height_2").value));
}

TEST(amplitude, all_pulses_clipped_or_equal_give_no_fit_and_no_crash) {
  std::vector<Stamp> stamps = pulses_of(200, 3);
  for (Stamp& stamp : stamps) stamp.height_v = 0.4;
  Result result = analyse_amplitude(gathered(stamps));
  EXPECT_THAT(result.warnings, Contains(HasSubstr("more than half of the values are equal")));
  for (Stamp& stamp : stamps) stamp.flags = Flag::clipped;
  result = analyse_amplitude(gathered(stamps));
  EXPECT_TRUE(std::isnan(figure_of(result, "most_probable_height_1").value));
  EXPECT_THAT(result.warnings, Contains(HasSubstr("100.0 % of the pulses are clipped")));
}

TEST(amplitude, wild_numbers_do_no_harm) {
  std::vector<Stamp> stamps = pulses_of(300, 3);
  stamps[0].height_v = 1e300;
  stamps[1].height_v = std::numeric_limits<double>::infinity();
  stamps[2].height_v = -1e300;
  stamps[3].charge_c = -std::numeric_limits<double>::infinity();
  stamps[4].noise_v = -1;
  const Result result = analyse_amplitude(gathered(stamps), {.lowest_height_v = 0.1});
  EXPECT_NEAR(figure_of(result, "most_probable_height_1").value, 0.24, 0.05);
  EXPECT_EQ(count_of(result, "S1", "heights below the fitted range"), 1);
  EXPECT_EQ(count_of(result, "S1", "  of these without a height"), 1);
}

TEST(amplitude, wrong_names_and_options_are_refused_in_one_sentence) {
  const AmplitudePulses pulses = gathered(pulses_of(60, 3));
  const auto sentence = [&](const AmplitudeOptions& options) {
    return test::sentence_of([&] { analyse_amplitude(pulses, options); });
  };
  EXPECT_THAT(sentence({.pedestals = {{.channel = "S9"}}}), HasSubstr("a channel 'S9'"));
  EXPECT_THAT(sentence({.spectra = {{.channel = "S9"}}}), HasSubstr("a channel 'S9'"));
  EXPECT_THAT(sentence({.lowest_height_v = 2, .highest_height_v = 1}), HasSubstr("hold nothing"));
  EXPECT_THAT(sentence({.lowest_charge_c = nan, .highest_charge_c = 1}), HasSubstr("hold nothing"));
  EXPECT_THAT(sentence({.spectra = {{.channel = "S1", .signal = {.frequency_hz = {1, 2}}}}}),
              HasSubstr("2 frequencies but 0 densities"));
  EXPECT_THAT(test::sentence_of([] { AmplitudePulses({}); }), HasSubstr("no channel"));
  EXPECT_THAT(test::sentence_of([] { AmplitudePulses({"A", "A"}); }), HasSubstr("same name"));
  const std::vector<Stamp> strange{{.record = 3, .channel = 9}};
  EXPECT_THAT(test::sentence_of([&] { gathered(strange); }), HasSubstr("channel 9"));
}

PowerSpectrum flat(double density, std::size_t lines, double step_hz) {
  PowerSpectrum spectrum;
  for (std::size_t i = 0; i < lines; ++i) {
    spectrum.frequency_hz.push_back(step_hz * static_cast<double>(i));
    spectrum.density_v2_per_hz.push_back(density);
  }
  spectrum.segments = 10;
  return spectrum;
}

TEST(frequency, rms_and_the_end_of_the_signal_are_those_of_the_spectra) {
  ChannelSpectra channel{.channel = "S1",
                         .signal = flat(1e-12, 501, 1e6),
                         .noise = flat(1e-14, 501, 1e6),
                         .lines = {{.frequency_hz = {50e6, 1e3}, .amplitude_v = 1e-3, .excess_db = 20}}};
  for (std::size_t i = 201; i < 501; ++i) channel.signal.density_v2_per_hz[i] = 1e-14;
  const FrequencyPart part = frequency_part(std::vector{channel});
  ASSERT_EQ(part.tables.size(), 2U);
  // 500 lines of 1 MHz at 1e-14 V^2/Hz (the one at 0 Hz is the mean).
  EXPECT_NEAR(cell_of(part.tables[0], 0, "noise_rms").value, std::sqrt(500e6 * 1e-14), 1e-12);
  // Averaged over five lines: the last that has two lines of signal in its stretch is at 200 MHz, give or
  // take.
  EXPECT_NEAR(cell_of(part.tables[0], 0, "signal_ends").value, 200e6, 2.5e6);
  EXPECT_EQ(cell_of(part.tables[1], 0, "amplitude").value, 1e-3);
  ASSERT_EQ(part.plots.size(), 1U);
  EXPECT_EQ(part.plots[0].y.unit, "V/sqrt(Hz)");
  // The line at 0 Hz cannot stand on a logarithmic axis.
  EXPECT_EQ(part.plots[0].series[0].x.front(), 1e6);
  EXPECT_DOUBLE_EQ(part.plots[0].series[1].y.front(), 1e-7);
  EXPECT_EQ(part.plots[0].markers.size(), 1U);
}

TEST(frequency, nothing_given_is_nothing_shown_and_an_empty_channel_is_told) {
  EXPECT_TRUE(frequency_part({}).tables.empty());
  const FrequencyPart part = frequency_part(std::vector{ChannelSpectra{.channel = "S1"}});
  EXPECT_TRUE(part.plots.empty());
  EXPECT_THAT(part.warnings, Contains(HasSubstr("no spectrum")));
}

}  // namespace
}  // namespace firstedge
