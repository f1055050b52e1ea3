// What the comparison promises on stamps whose truth is known: each channel gets its best settings, nothing
// is left out without a count, and the amplifier's figures are those that were put in.
#include "firstedge/compare/compare.hpp"

#include "firstedge/core/error.hpp"

#include "support/random.hpp"
#include "support/result_parts.hpp"

#include <cmath>
#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::cell_of;
using test::count_of;
using test::figure_of;
using test::table_of;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

Candidate fraction(double value) {
  return {.method = "constant_fraction", .fraction = value, .settings = {"", ""}};
}
Candidate threshold(double value) {
  return {.method = "leading_edge", .threshold = value, .settings = {"", ""}};
}

// Channel 0 is best at fraction 0.3, channel 1 at 0.6; the leading edge is worse on both.
const std::vector<Candidate> candidates{fraction(0.1), fraction(0.3), fraction(0.6), threshold(0.2)};
const std::vector<std::vector<double>> sigmas_ps{{60, 20, 40, 90}, {60, 45, 20, 90}};

CandidateStamps made_up(std::size_t records) {
  test::Random random(21);
  CandidateStamps stamps({"S1", "S2"}, candidates, {});
  for (std::size_t row = 0; row < records; ++row) {
    stamps.expect(row, row);
    for (std::size_t channel = 0; channel < 2; ++channel) {
      for (std::size_t i = 0; i < candidates.size(); ++i) {
        Stamp stamp{.record = row};
        stamp.time_s = 1e-12 * random.normal(0, sigmas_ps[channel][i]);
        stamp.uncertainty_s = 1e-12 * sigmas_ps[channel][i];
        stamp.bound_s = 10e-12;
        stamp.height_v = 0.1;
        stamps.set(row, channel, i, stamp);
        if (i == 0) stamps.set_pulse(row, channel, stamp);
      }
    }
  }
  return stamps;
}

const CompareOptions options{.first = "S1", .second = "S2", .bootstrap = {.resamples = 100}};

TEST(compare, each_channel_gets_its_own_best_setting_and_the_leading_edge_is_beaten) {
  const CandidateStamps stamps = made_up(2000);
  const std::vector<Contender> contenders = choose_contenders(stamps, common_ground(stamps, 0, 1, 0.95));
  EXPECT_EQ(contenders.front().of_first, 1U);
  EXPECT_EQ(contenders.front().of_second, 2U);
  const Result result = analyse_comparison(stamps, options);
  // 20 ps twice in quadrature; standard error 0.962/sqrt(1000) = 3 % (stats/spread.hpp), 4 of them.
  EXPECT_NEAR(figure_of(result, "spread").value, std::sqrt(2.0) * 20e-12, 4 * 0.03 * 28.3e-12);
  EXPECT_NEAR(figure_of(result, "bound").value, std::sqrt(2.0) * 10e-12, 1e-18);
  EXPECT_THAT(result.answer, testing::HasSubstr("beats leading_edge"));
  EXPECT_EQ(std::get<std::string>(table_of(result, "differences").rows.at(0).at(2)), "beats it");
}

TEST(compare, the_halves_are_apart_about_equal_and_fixed_by_the_record) {
  const CandidateStamps stamps = made_up(2000);
  const CommonGround ground = common_ground(stamps, 0, 1, 0.95);
  EXPECT_EQ(ground.choosing.size() + ground.judging.size(), 2000U);
  // Binomial: standard deviation 22, four of them.
  EXPECT_NEAR(static_cast<double>(ground.choosing.size()), 1000, 90);
  // Not tied to parity: even records are in both halves alike, standard deviation 16.
  const auto even =
      std::count_if(ground.choosing.begin(), ground.choosing.end(), [](auto row) { return row % 2 == 0; });
  EXPECT_NEAR(static_cast<double>(even), static_cast<double>(ground.choosing.size()) / 2, 64);
}

TEST(compare, a_candidate_that_times_few_pulses_takes_no_part_and_all_is_counted) {
  CandidateStamps stamps({"S1", "S2"}, candidates, {});
  const CandidateStamps whole = made_up(400);
  for (std::size_t row = 0; row < 400; ++row) {
    stamps.expect(row, row);
    for (std::size_t channel = 0; channel < 2; ++channel) {
      if (channel == 1 && row < 10) continue;  // no pulse
      for (std::size_t i = 0; i < candidates.size(); ++i) {
        Stamp stamp{.record = row};
        stamp.time_s = whole.column(channel, i).time_s[row];
        if (row < 20) stamp.flags = Flag::clipped;
        if (row == 20) stamp.time_s = nan;
        if (i == 1 && row % 2 == 0) stamp.flags |= Flag::low_signal;
        stamps.set(row, channel, i, stamp);
      }
    }
  }
  const CommonGround ground = common_ground(stamps, 0, 1, 0.95);
  EXPECT_EQ(ground.of_first, (std::vector<std::size_t>{0, 2, 3}));
  EXPECT_EQ(ground.choosing.size() + ground.judging.size(), 379U);
  const Result result = analyse_comparison(stamps, options);
  EXPECT_EQ(count_of(result, "S1 − S2", "read"), 400);
  EXPECT_EQ(count_of(result, "S2", "without a pulse"), 10);
  EXPECT_EQ(count_of(result, "S2", "left out: flagged"), 10);
  EXPECT_EQ(count_of(result, "S2", "  of these clipped"), 10);
  EXPECT_EQ(count_of(result, "S1", "left out: no time"), 1);
  EXPECT_EQ(count_of(result, "S1", "usable"), 379);
}

TEST(compare, too_few_records_and_wrong_names_are_told) {
  const Result few = analyse_comparison(made_up(30), options);
  EXPECT_THAT(few.answer, testing::HasSubstr("too few"));
  EXPECT_TRUE(few.figures.empty());
  CompareOptions wrong = options;
  wrong.second = "S9";
  EXPECT_THROW(analyse_comparison(made_up(100), wrong), Error);
  wrong.second = "S1";
  EXPECT_THROW(analyse_comparison(made_up(100), wrong), Error);
  EXPECT_THROW(CandidateStamps({"S1"}, candidates, {}), Error);
  EXPECT_THROW(CandidateStamps({"S1", "S2"}, {}, {}), Error);
  CandidateStamps stamps = made_up(100);
  EXPECT_THROW(stamps.expect(5, 6), Error);
}

// One signal on both channels: gain 20, noise 1 mV and 5 mV, time factors 300 and 120 ps mV at the input, a
// rest of 20 ps a channel, and the amplified channel clipped from 30 mV at the input on.
AmplifierInput amplifier_of_known_truth(std::size_t records, bool one_signal) {
  test::Random random(22);
  AmplifierInput input{.bare = {.channel = "bare"}, .amplified = {.channel = "amplified"}};
  for (std::size_t row = 0; row < records; ++row) {
    const double signal = random.uniform(5e-3, 35e-3), other = random.uniform(5e-3, 35e-3);
    const double amplified = one_signal ? signal : other;
    const bool clipped = amplified > 30e-3;
    input.bare.height_v.push_back(signal + random.normal(0, 0.1e-3));
    input.amplified.height_v.push_back(20 * std::min(amplified, 30e-3) +
                                       (clipped ? 0 : random.normal(0, 1e-3)));
    input.bare.clipped.push_back(0);
    input.amplified.clipped.push_back(clipped ? 1 : 0);
    input.bare.transition_s.push_back(random.normal(3e-10, 1e-11));
    input.amplified.transition_s.push_back(random.normal(5e-10, 1e-11));
    const double of_bare = 300e-15 / signal, of_amplified = 120e-15 / amplified;
    input.bare.uncertainty_s.push_back(of_bare);
    input.amplified.uncertainty_s.push_back(clipped ? nan : of_amplified);
    const double error =
        random.normal(0, std::sqrt(of_bare * of_bare + of_amplified * of_amplified + 2 * 400e-24));
    input.difference_s.push_back(clipped ? nan : 5e-9 + error);
    input.delay_s.push_back(input.difference_s.back());
    input.bare.noise_v.push_back(random.normal(0, 1e-3));
    input.amplified.noise_v.push_back(random.normal(0, 25e-3));
  }
  return input;
}

// A Gaussian response of 400 MHz between two flat spectra.
void give_spectra(AmplifierInput& input) {
  for (int i = 0; i <= 100; ++i) {
    const double frequency = 10e6 * i;
    for (PowerSpectrum* spectrum :
         {&input.bare.signal, &input.bare.noise, &input.amplified.signal, &input.amplified.noise})
      spectrum->frequency_hz.push_back(frequency);
    input.bare.noise.density_v2_per_hz.push_back(1e-16);
    input.amplified.noise.density_v2_per_hz.push_back(2e-16);
    input.bare.signal.density_v2_per_hz.push_back(1e-14 + 1e-16);
    input.amplified.signal.density_v2_per_hz.push_back(4e-12 * std::exp2(-std::pow(frequency / 400e6, 2)) +
                                                       2e-16);
  }
}

class amplification : public testing::TestWithParam<bool> {};

TEST_P(amplification, the_figures_are_those_that_were_put_in) {
  AmplifierInput input = amplifier_of_known_truth(4000, GetParam());
  give_spectra(input);
  const Amplification found = amplification_of(input, {.resamples = 200});
  EXPECT_EQ(found.one_signal(), GetParam());
  const auto near = [](const Estimate& estimate, double truth) {
    // 4 standard errors: one false alarm in 16,000 for each figure.
    EXPECT_NEAR(estimate.value, truth, 4 * estimate.uncertainty);
    EXPECT_LT(estimate.uncertainty, 0.1 * truth);
  };
  near(found.gain, 20);
  near(found.bare_noise_v, 1e-3);
  near(found.referred_noise_v, 25e-3 / 20);
  near(found.noise_ratio, 1.25);
  near(found.added_noise_v, 15e-3);  // sqrt(25^2 - 20^2)
  near(found.bare_transition_s, 3e-10);
  near(found.amplified_transition_s, 5e-10);
  near(found.own_transition_s, 4e-10);
  near(found.band_by_transition_hz, 0.339624446254 / 4e-10);
  EXPECT_NEAR(found.band_by_spectra_hz.value, 400e6, 1e5);  // linear between bins: bin^2/8 of the curvature
  // The noise of 0.1 mV on the bare height moves its median product by less than 1e-3 of itself.
  EXPECT_NEAR(found.bare_factor_v_s.value, 300e-15, 4 * found.bare_factor_v_s.uncertainty + 0.3e-15);
  EXPECT_NEAR(found.amplified_factor_v_s.value, 120e-15,
              4 * found.amplified_factor_v_s.uncertainty + 0.12e-15);
  near(found.added_delay_s, 5e-9);
  // The rest is taken from a central half width, which a mixture of normal widths makes a little smaller than
  // the mean variance: 1 ps.
  EXPECT_NEAR(found.rest_s.value, 20e-12, 4 * found.rest_s.uncertainty + 1e-12);
  // sqrt((300^2 - 1.1025 120^2)/0.1025)/20 in mV (derived), and 5 % for the rest.
  EXPECT_NEAR(found.pays_below_v.value, 0.0425, 4 * found.pays_below_v.uncertainty + 0.05 * 0.0425);
  EXPECT_NEAR(found.amplified_saturates_v, 30e-3, 30e-3 * 4 * found.gain.uncertainty / found.gain.value);
  near(found.amplified_clipped, 5.0 / 30);
  EXPECT_TRUE(std::isinf(found.bare_saturates_v));
}

INSTANTIATE_TEST_SUITE_P(one_or_two_signals, amplification, testing::Bool());

TEST(amplification_edges, an_amplifier_that_brings_nothing_does_not_pay_and_few_records_are_refused) {
  AmplifierInput input = amplifier_of_known_truth(400, true);
  for (double& uncertainty : input.amplified.uncertainty_s) uncertainty *= 3;
  EXPECT_EQ(amplification_of(input, {.resamples = 50}).pays_below_v.value, 0);
  EXPECT_TRUE(std::isnan(amplification_of(input, {.resamples = 50}).band_by_spectra_hz.value));
  EXPECT_THROW(amplification_of(amplifier_of_known_truth(10, true), {.resamples = 50}), Error);
  input.delay_s.pop_back();
  EXPECT_THROW(amplification_of(input, {.resamples = 50}), Error);
}

TEST(amplification_edges, spread_at_a_signal_is_noise_and_rest_in_quadrature) {
  EXPECT_NEAR(spread_at(10e-3, 300e-15, 40e-12), 50e-12, 1e-24);
}

}  // namespace
}  // namespace firstedge
