// What the jitter analysis promises: nothing lost without a count, doubtful data told, names checked, the
// same result every time.
#include "firstedge/jitter/jitter.hpp"

#include "firstedge/core/error.hpp"

#include "support/random.hpp"
#include "support/result_parts.hpp"
#include "support/sentence_of.hpp"
#include "support/simulated_stamps.hpp"

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
using test::normal_stamps;
using test::table_of;
using testing::Contains;
using testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

JitterStamps gathered(const std::vector<Stamp>& stamps, std::size_t channels,
                      const std::vector<std::string>& methods = {"constant_fraction"}) {
  std::vector<std::string> names{"S1", "S2", "S3", "S4", "S5", "S6", "S7", "S8", "S9", "S10", "S11"};
  names.resize(channels);
  JitterStamps columns(names, methods);
  columns.add(stamps);
  return columns;
}

// Few resamples: these tests look at values, not at their uncertainties.
const JitterOptions quick{.bootstrap = {.resamples = 40}};

TEST(jitter, a_normal_pair_has_its_spread_its_bound_and_true_pulls) {
  const Result result = analyse_jitter(gathered(normal_stamps({30e-12, 40e-12}, 4000, 7), 2), quick);
  // Five standard errors: 50 ps/sqrt(2 * 4000), 50 ps/sqrt(4000), and binomial.
  EXPECT_NEAR(figure_of(result, "standard_deviation").value, 50e-12, 5 * 0.56e-12);
  EXPECT_NEAR(figure_of(result, "mean").value, -1e-9, 5 * 0.8e-12);
  EXPECT_NEAR(figure_of(result, "pulls_within_1").value, 0.6827, 5 * 0.0074);
  EXPECT_NEAR(figure_of(result, "bound").value, 50e-12, 1e-22);
  EXPECT_TRUE(result.warnings.empty()) << testing::PrintToString(result.warnings);
  EXPECT_THAT(result.answer, HasSubstr("S1 − S2"));
}

TEST(jitter, two_channels_share_the_spread_equally_and_say_so) {
  const Result result = analyse_jitter(gathered(normal_stamps({30e-12, 40e-12}, 500, 7), 2), quick);
  const Table& sensors = table_of(result, "sensors");
  EXPECT_THAT(sensors.title, HasSubstr("if both are equally good"));
  for (const std::size_t row : {0, 1})
    EXPECT_DOUBLE_EQ(cell_of(sensors, row, "resolution_by_deviation").value,
                     figure_of(result, "standard_deviation").value / std::sqrt(2.0));
}

TEST(jitter, every_record_left_out_is_counted_by_its_reason) {
  std::vector<Stamp> stamps = normal_stamps({1e-12, 1e-12}, 100, 1);  // record r: stamps 2 r and 2 r + 1
  stamps[0].flags = Flag::clipped | Flag::piled_up;
  stamps[3].flags = FlagSet::from_bits(1U << 30U);  // a flag of a later version
  stamps[4].time_s = nan;
  stamps[7].time_s = nan;
  stamps[7].flags = Flag::not_timed;
  stamps[8].height_v = 5;
  stamps[10].height_v = nan;
  stamps[12].record = 1000;
  stamps[13].record = 2000;
  stamps[15].pulse = 1;
  stamps.push_back(stamps[20]);
  const Result result = analyse_jitter(
      gathered(stamps, 2), {.highest_height_v = 2, .height_bins = 1, .bootstrap = {.resamples = 40}});
  const auto count = [&](const std::string& what) { return count_of(result, "S1 − S2", what); };
  EXPECT_EQ(count("with a stamp of the first channel only"), 2);
  EXPECT_EQ(count("with a stamp of the second channel only"), 1);
  EXPECT_EQ(count("with both"), 98);
  EXPECT_EQ(count("used"), 92);
  EXPECT_EQ(count("left out: flagged"), 3);
  EXPECT_EQ(count("  of these clipped"), 1);
  EXPECT_EQ(count("  of these piled_up"), 1);
  EXPECT_EQ(count("  of these not_timed"), 1);
  EXPECT_EQ(count("left out: no time"), 1);
  EXPECT_EQ(count("left out: height outside the range"), 2);
  EXPECT_THAT(table_of(result, "counts").note, HasSubstr("1 of later pulses"));
  EXPECT_THAT(table_of(result, "counts").note, HasSubstr("1 there twice"));
}

TEST(jitter, allowed_flags_are_used_but_a_stamp_without_a_time_never_is) {
  std::vector<Stamp> stamps = normal_stamps({1e-12, 1e-12}, 100, 1);
  stamps[0].flags = Flag::undersampled;
  stamps[2].flags = Flag::not_timed;
  stamps[2].time_s = nan;
  JitterOptions options = quick;
  options.allowed_flags = Flag::undersampled | Flag::not_timed;
  const Result result = analyse_jitter(gathered(stamps, 2), options);
  EXPECT_EQ(count_of(result, "S1 − S2", "used"), 99);
  EXPECT_EQ(count_of(result, "S1 − S2", "left out: no time"), 1);
}

TEST(jitter, the_difference_is_first_less_second_of_the_pair_asked_for) {
  const auto stamps = gathered(normal_stamps({1e-12, 1e-12, 1e-12}, 100, 1), 3);
  JitterOptions options = quick;
  options.pairs = {{"S3", "S1"}};
  const Result result = analyse_jitter(stamps, options);
  EXPECT_NEAR(figure_of(result, "mean").value, 2e-9, 1e-12);
  EXPECT_EQ(table_of(result, "pairs").rows.size(), 1U);
}

TEST(jitter, the_order_of_the_stamps_does_not_matter) {
  std::vector<Stamp> stamps = normal_stamps({20e-12, 30e-12, 40e-12}, 300, 3);
  const Result before = analyse_jitter(gathered(stamps, 3), quick);
  std::reverse(stamps.begin(), stamps.end());
  const Result after = analyse_jitter(gathered(stamps, 3), quick);
  ASSERT_EQ(before.figures.size(), after.figures.size());
  for (std::size_t i = 0; i < before.figures.size(); ++i) {
    EXPECT_EQ(std::isnan(before.figures[i].estimate.uncertainty),
              std::isnan(after.figures[i].estimate.uncertainty));
    EXPECT_EQ(before.figures[i].estimate.value, after.figures[i].estimate.value);
  }
}

TEST(jitter, the_same_seed_gives_the_same_bits_and_another_seed_other_uncertainties) {
  const auto stamps = gathered(normal_stamps({20e-12, 30e-12}, 300, 3), 2);
  const auto with_seed = [&](std::uint64_t seed) {
    JitterOptions options = quick;
    options.bootstrap.seed = seed;
    return figure_of(analyse_jitter(stamps, options), "core_width").uncertainty;
  };
  EXPECT_EQ(with_seed(5), with_seed(5));
  EXPECT_NE(with_seed(5), with_seed(6));
}

TEST(jitter, without_a_method_asked_for_the_narrowest_is_shown_and_all_are_compared) {
  std::vector<Stamp> stamps = normal_stamps({50e-12, 50e-12}, 300, 3);
  std::vector<Stamp> better = normal_stamps({20e-12, 20e-12}, 300, 4);
  for (Stamp& stamp : better) stamp.method = 1;
  // Narrower still, but it times only half of the pairs.
  std::vector<Stamp> choosy = normal_stamps({5e-12, 5e-12}, 150, 5);
  for (Stamp& stamp : choosy) stamp.method = 2;
  stamps.insert(stamps.end(), better.begin(), better.end());
  stamps.insert(stamps.end(), choosy.begin(), choosy.end());
  const std::vector<std::string> methods{"leading_edge", "template_fit", "constant_fraction"};
  const Result result = analyse_jitter(gathered(stamps, 2, methods), quick);
  EXPECT_THAT(result.title, HasSubstr("template_fit"));
  EXPECT_THAT(result.answer, HasSubstr("narrowest"));
  EXPECT_EQ(table_of(result, "methods").rows.size(), 3U);
  JitterOptions asked = quick;
  asked.method = "leading_edge";
  EXPECT_THAT(analyse_jitter(gathered(stamps, 2, methods), asked).title, HasSubstr("leading_edge"));
}

TEST(jitter, too_few_pairs_give_counts_and_a_warning) {
  for (const std::size_t records : {0, 1, 19}) {
    const Result result = analyse_jitter(gathered(normal_stamps({1e-12, 1e-12}, records, 1), 2), quick);
    EXPECT_THAT(result.warnings, Contains(HasSubstr("fewer than 20")));
    EXPECT_TRUE(std::isnan(figure_of(result, "standard_deviation").value));
    EXPECT_EQ(count_of(result, "S1 − S2", "used"), static_cast<double>(records));
  }
}

TEST(jitter, equal_times_give_no_core_and_no_crash) {
  std::vector<Stamp> stamps = normal_stamps({1e-12, 1e-12}, 100, 1);
  for (Stamp& stamp : stamps) stamp.time_s = 1e-9;
  const Result result = analyse_jitter(gathered(stamps, 2), quick);
  EXPECT_EQ(figure_of(result, "standard_deviation").value, 0);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("more than half of the values are equal")));
}

TEST(jitter, stamps_that_know_nothing_but_the_time_are_enough) {
  std::vector<Stamp> stamps = normal_stamps({20e-12, 30e-12, 40e-12}, 300, 3);
  for (Stamp& stamp : stamps) stamp.uncertainty_s = stamp.bound_s = stamp.height_v = nan;
  const Result result = analyse_jitter(gathered(stamps, 3), quick);
  EXPECT_GT(figure_of(result, "core_width").value, 0);
  EXPECT_TRUE(std::isnan(figure_of(result, "bound").value));
  EXPECT_TRUE(table_of(result, "heights").rows.empty());
  EXPECT_TRUE(result.warnings.empty()) << testing::PrintToString(result.warnings);
}

TEST(jitter, a_drift_is_told_with_the_spread_that_it_hides) {
  std::vector<Stamp> stamps = normal_stamps({20e-12, 20e-12}, 2000, 3);
  for (Stamp& stamp : stamps)
    if (stamp.channel == 1) stamp.time_s += 1e-13 * static_cast<double>(stamp.record);
  const Result result = analyse_jitter(gathered(stamps, 2), quick);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("the delay drifts")));
  EXPECT_GT(figure_of(result, "standard_deviation").value, 60e-12);  // 200 ps/sqrt(12) and 28 ps
}

TEST(jitter, uncertainties_stated_too_small_are_told) {
  std::vector<Stamp> stamps = normal_stamps({20e-12, 20e-12}, 2000, 3);
  for (Stamp& stamp : stamps) stamp.uncertainty_s *= 0.8;
  const Result result = analyse_jitter(gathered(stamps, 2), quick);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("too small")));
  for (Stamp& stamp : stamps) stamp.uncertainty_s *= 1.5;
  EXPECT_THAT(analyse_jitter(gathered(stamps, 2), quick).warnings, Contains(HasSubstr("too large")));
}

// Two channels share an error that the third does not have: its own variance comes out negative.
TEST(jitter, a_negative_variance_is_told_and_not_clipped) {
  std::vector<Stamp> stamps = normal_stamps({30e-12, 30e-12, 2e-12}, 2000, 3);
  for (std::size_t record = 0; record < 2000; ++record) {
    // The third channel follows the mean of the first two.
    const double shared = 0.5 * (stamps[3 * record].time_s + stamps[3 * record + 1].time_s);
    stamps[3 * record + 2].time_s += shared;
  }
  const Result result = analyse_jitter(gathered(stamps, 3), quick);
  const Table& sensors = table_of(result, "sensors");
  EXPECT_LT(cell_of(sensors, 2, "variance").value, 0);
  EXPECT_TRUE(std::isnan(cell_of(sensors, 2, "resolution").value));
  EXPECT_THAT(result.warnings, Contains(HasSubstr("not positive")));
}

TEST(jitter, more_channels_than_can_be_told_apart_are_told) {
  const std::vector<double> sigmas(11, 1e-12);
  JitterOptions options{.bootstrap = {.resamples = 20}};
  const Result result = analyse_jitter(gathered(normal_stamps(sigmas, 30, 1), 11), options);
  EXPECT_THAT(result.warnings, Contains(HasSubstr("11 channels are too many")));
  EXPECT_EQ(table_of(result, "pairs").rows.size(), 55U);
  EXPECT_THAT(result.cautions, Contains(HasSubstr("Plots are shown of the first")));
}

TEST(jitter, wrong_names_and_options_are_refused_in_one_sentence) {
  const auto stamps = gathered(normal_stamps({1e-12, 1e-12}, 30, 1), 2);
  const auto sentence = [&](const JitterOptions& options) {
    return test::sentence_of([&] { analyse_jitter(stamps, options); });
  };
  EXPECT_THAT(sentence({.pairs = {{"S1", "S7"}}}), HasSubstr("no channel 'S7'"));
  EXPECT_THAT(sentence({.pairs = {{"S1", "S1"}}}), HasSubstr("paired with itself"));
  EXPECT_THAT(sentence({.method = "guess"}), HasSubstr("no method 'guess'"));
  EXPECT_THAT(sentence({.lowest_height_v = 2, .highest_height_v = 1}), HasSubstr("hold nothing"));
  EXPECT_THAT(sentence({.lowest_height_v = nan}), HasSubstr("hold nothing"));
  EXPECT_THAT(sentence({.height_bins = 0}), HasSubstr("no bins"));
  EXPECT_THAT(sentence({.core = {.window_sigmas = 0.5}}), HasSubstr("0.5 widths"));
  EXPECT_THAT(sentence({.bins = {.bins = 100'000'000}}), HasSubstr("bins asked for"));
  EXPECT_THAT(sentence({.bootstrap = {.resamples = 3}}), HasSubstr("too few"));
  EXPECT_THAT(sentence({.bootstrap = {.coverage = 1}}), HasSubstr("coverage"));
  EXPECT_THAT(test::sentence_of([] { JitterStamps({}, {"m"}); }), HasSubstr("no channel"));
  EXPECT_THAT(test::sentence_of([] { JitterStamps({"A", "A"}, {"m"}); }), HasSubstr("called 'A'"));
  EXPECT_THAT(test::sentence_of([] { analyse_jitter(JitterStamps({"A"}, {"m"})); }),
              HasSubstr("one channel"));
  const std::vector<Stamp> strange{{.record = 3, .channel = 9}};
  EXPECT_THAT(test::sentence_of([&] { gathered(strange, 2); }), HasSubstr("channel 9"));
}

TEST(jitter, wild_numbers_do_no_harm) {
  std::vector<Stamp> stamps = normal_stamps({20e-12, 30e-12, 40e-12}, 200, 3);
  stamps[0].time_s = 1e300;
  stamps[3].time_s = -1e300;
  stamps[6].height_v = std::numeric_limits<double>::infinity();
  stamps[9].height_v = -1;
  stamps[12].uncertainty_s = 0;
  stamps[15].bound_s = std::numeric_limits<double>::infinity();
  stamps[18].height_v = 5e-324;
  const Result result = analyse_jitter(gathered(stamps, 3), quick);
  // Two of 200 are wild: the core does not see them.
  EXPECT_NEAR(figure_of(result, "core_width").value, 36e-12, 10e-12);
}

}  // namespace
}  // namespace firstedge
