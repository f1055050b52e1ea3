// Claims of the noise room: an autocovariance without bias and always positive definite, lines found where
// they are and nowhere else.
#include "firstedge/signal/noise.hpp"

#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using std::numbers::pi;

constexpr double interval_s = 0.2e-9;

/// Noise of a first-order autoregression: autocovariance deviation^2 * correlation^k.
std::vector<double> correlated_noise(test::Random& random, std::size_t samples, double correlation,
                                     double deviation = 1) {
  std::vector<double> noise(samples);
  double last = random.normal(0, deviation);
  const double fresh = deviation * std::sqrt(1 - correlation * correlation);
  for (double& value : noise) value = last = correlation * last + random.normal(0, fresh);
  return noise;
}

/// A resonance: poles of the given radius at a frequency in cycles a sample.
std::vector<double> resonant_noise(test::Random& random, std::size_t samples, double radius,
                                   double frequency) {
  std::vector<double> noise(samples + 1000);
  double one = 0, two = 0;
  for (double& value : noise) {
    value = 2 * radius * std::cos(2 * pi * frequency) * one - radius * radius * two + random.normal(0, 1);
    two = one;
    one = value;
  }
  return {noise.begin() + 1000, noise.end()};
}

/// True if the Toeplitz matrix of this size is positive definite: all prediction errors of the
/// Levinson-Durbin recursion are positive (its Cholesky factor's squared diagonal).
bool is_positive_definite(const std::vector<double>& autocovariance, std::size_t size) {
  const auto at = [&](std::size_t k) { return k < autocovariance.size() ? autocovariance[k] : 0.0; };
  std::vector<double> coefficients;
  double error = at(0);
  for (std::size_t m = 1; m < size; ++m) {
    if (!(error > 0)) return false;
    double sum = at(m);
    for (std::size_t i = 0; i < coefficients.size(); ++i) sum -= coefficients[i] * at(m - 1 - i);
    const double reflection = sum / error;
    std::vector<double> next = coefficients;
    for (std::size_t i = 0; i < coefficients.size(); ++i)
      next[i] -= reflection * coefficients[coefficients.size() - 1 - i];
    next.push_back(reflection);
    coefficients = std::move(next);
    error *= 1 - reflection * reflection;
  }
  return error > 0;
}

TEST(noise, the_autocovariance_is_not_lowered_by_the_means_taken_away) {
  // Stretches of 60 samples of noise that remembers for 5: taking means away as they are would lower every
  // lag by 2 * 5 / 60 = 17 % of the variance.
  constexpr double correlation = 0.8;
  test::Random random(41);
  NoiseAccumulator sums(interval_s, 64);
  for (int stretch = 0; stretch < 20000; ++stretch) {
    std::vector<double> volts = correlated_noise(random, 60, correlation);
    const double baseline = random.normal(0, 10);
    for (double& value : volts) value += baseline;
    sums.add(volts);
  }
  const NoiseModel model = sums.model();
  EXPECT_EQ(model.samples_used, 1200000U);
  EXPECT_EQ(model.interval_s, interval_s);
  for (std::size_t k = 0; k < 9; ++k) {
    // 1.2e6 samples over a memory of 5 to 10 give 0.3 %; lags beyond 20 (0.8^20 = 1 %) are not kept.
    EXPECT_NEAR(model.covariance_v2(k), std::pow(correlation, k), 0.03) << k;
  }
}

TEST(noise, a_line_of_four_periods_a_stretch_is_learnt_with_its_size_and_period) {
  // Stretches of 200 samples, a line of 50 samples a period: lags that stop at a third of a stretch would
  // not see it turn.
  test::Random random(47);
  NoiseAccumulator sums(interval_s, 150);
  for (int stretch = 0; stretch < 4000; ++stretch) {
    const double phase = random.uniform(0, 2 * pi);
    const double baseline = random.normal(0, 10);
    std::vector<double> volts(200);
    for (std::size_t i = 0; i < volts.size(); ++i)
      volts[i] = baseline + 0.7 * std::sin(2 * pi * static_cast<double>(i) / 50 + phase);
    random.add_white_noise(volts, 1);
    sums.add(volts);
  }
  const NoiseModel model = sums.model();
  // Differences of samples k apart tell the line's power (0.245) times 1 - cos, and the white noise (1).
  // Within a tenth of a standard deviation up to 0.4 of the longest lag, where Hann's window is still at two
  // thirds.
  for (std::size_t k = 1; k < 60; ++k) {
    const double expected = 1 + 0.245 * (1 - std::cos(2 * pi * static_cast<double>(k) / 50));
    EXPECT_NEAR(model.covariance_v2(0) - model.covariance_v2(k), expected, 0.1) << k;
  }
}

TEST(noise, a_fitted_line_leaves_a_sine_of_the_noise_in_the_rest_of_the_record) {
  // A line fitted over n samples of white noise has a variance of 2/n of the noise's (S. Kay, Estimation
  // Theory (1993), ex. 4.2, from memory): the window's samples are short of it, the others have it too much.
  const NoiseModel learnt{.interval_s = 1e-9, .autocovariance_v2 = {3.0}, .samples_used = 1000};
  const std::vector<double> lines{1e8};
  const NoiseModel noise = with_lines_taken_out(learnt, lines, 200, 50);
  ASSERT_EQ(noise.autocovariance_v2.size(), 50U);
  EXPECT_NEAR(noise.covariance_v2(0), 3 + 2 * 2 * 3.0 / 200, 1e-12);
  EXPECT_NEAR(noise.covariance_v2(5), -2 * 2 * 3.0 / 200, 1e-12);
  EXPECT_NEAR(noise.covariance_v2(10), 2 * 2 * 3.0 / 200, 1e-12);
  EXPECT_EQ(with_lines_taken_out(learnt, lines, 9, 50).autocovariance_v2,
            learnt.autocovariance_v2);  // under a period
  EXPECT_EQ(with_lines_taken_out(learnt, {}, 200, 50).autocovariance_v2, learnt.autocovariance_v2);
}

TEST(noise, white_noise_is_learnt_as_white_whatever_the_stretches) {
  test::Random random(42);
  NoiseAccumulator sums(interval_s, 100);
  for (int stretch = 0; stretch < 500; ++stretch) {
    std::vector<double> volts(20 + static_cast<std::size_t>(stretch) % 300, 0.0);
    random.add_white_noise(volts, 3e-3);
    sums.add(volts);
  }
  const NoiseModel model = sums.model();
  // 85 000 samples: 1/sqrt(2 * 85000) = 0.25 %, four of them.
  EXPECT_NEAR(model.rms_v(), 3e-3, 0.01 * 3e-3);
  for (std::size_t k = 1; k < 100; ++k)
    EXPECT_NEAR(model.covariance_v2(k) / model.covariance_v2(0), 0, 0.015);
}

TEST(noise, its_model_is_positive_definite_for_any_input) {
  test::Random random(43);
  for (int trial = 0; trial < 300; ++trial) {
    NoiseAccumulator sums(1, 1 + static_cast<std::size_t>(trial % 60));
    const int stretches = 1 + trial % 7;
    for (int stretch = 0; stretch < stretches; ++stretch) {
      const auto samples = static_cast<std::size_t>(random.uniform(2, 150));
      std::vector<double> volts;
      switch (trial % 5) {
        case 0:
          volts = correlated_noise(random, samples, random.uniform(-0.99, 0.99));
          break;
        case 1:
          volts = resonant_noise(random, samples, 0.99, random.uniform(0, 0.5));
          break;
        case 2:
          for (std::size_t i = 0; i < samples; ++i) volts.push_back(std::sin(0.3 * static_cast<double>(i)));
          break;
        case 3:
          for (std::size_t i = 0; i < samples; ++i) volts.push_back(static_cast<double>(i));
          break;
        default:
          volts.assign(samples, 0.0);
          volts[samples / 2] = 1;
      }
      sums.add(volts);
    }
    const NoiseModel model = sums.model();
    ASSERT_GT(model.covariance_v2(0), 0) << trial;
    ASSERT_TRUE(is_positive_definite(model.autocovariance_v2, 200)) << trial;
  }
}

TEST(noise, any_sequence_is_made_positive_definite_and_keeps_its_variance) {
  test::Random random(44);
  for (int trial = 0; trial < 150; ++trial) {
    const auto lags = static_cast<std::size_t>(random.uniform(1, 120));
    std::vector<double> sequence(lags);
    for (double& value : sequence) value = random.normal(0, 1);
    sequence[0] = random.uniform(0.1, 3);
    const std::vector<double> definite = positive_definite(sequence);
    ASSERT_LE(definite.size(), lags);
    EXPECT_NEAR(definite[0], sequence[0], 1e-12);
    ASSERT_TRUE(is_positive_definite(definite, 300)) << trial;
    double least = std::numeric_limits<double>::infinity();
    for (double w = 0; w <= pi; w += pi / 2000) {
      double spectrum = definite[0];
      for (std::size_t k = 1; k < definite.size(); ++k)
        spectrum += 2 * definite[k] * std::cos(w * static_cast<double>(k));
      least = std::min(least, spectrum);
    }
    EXPECT_GT(least, 0.8 * lowest_spectrum_share * definite[0]) << trial;
  }
  EXPECT_THAT(positive_definite({2, 0.5}), testing::ElementsAre(2, 0.5));
  EXPECT_THAT(positive_definite({}), testing::ElementsAre(0));
  EXPECT_THAT(positive_definite({std::nan("")}), testing::ElementsAre(0));
}

TEST(noise, quiet_counts_have_the_variance_of_their_rounding) {
  NoiseAccumulator none(interval_s, 10, 0.01);
  EXPECT_EQ(none.model().samples_used, 0U);
  EXPECT_NEAR(none.model().rms_v(), 0.01 / std::sqrt(12.0), 1e-15);
  NoiseAccumulator quiet(interval_s, 10, 0.01);
  quiet.add(std::vector<double>(50, 0.3));
  quiet.add(std::vector<double>{1.0});                                            // too short
  quiet.add(std::vector<double>{1.0, std::numeric_limits<double>::quiet_NaN()});  // not finite
  EXPECT_EQ(quiet.model().samples_used, 50U);
  EXPECT_NEAR(quiet.model().rms_v(), 0.01 / std::sqrt(12.0), 1e-15);
}

TEST(welch, the_area_under_the_density_is_the_variance) {
  test::Random random(45);
  const std::vector<double> volts = correlated_noise(random, 20000, 0.6, 2e-3);
  const PowerSpectrum spectrum = welch(volts, interval_s, 256);
  double area = 0;
  for (const double density : spectrum.density_v2_per_hz) area += density * spectrum.frequency_hz[1];
  // 20 000 samples with a memory of 4 samples: 2 %; four of them.
  EXPECT_NEAR(area, 4e-6, 0.08 * 4e-6);
  EXPECT_EQ(spectrum.segments, 155U);
}

TEST(welch, the_model_of_a_noise_has_the_density_of_the_noise) {
  test::Random random(46);
  NoiseAccumulator sums(interval_s, 64);
  std::vector<PowerSpectrum> spectra;
  for (int stretch = 0; stretch < 300; ++stretch) {
    const std::vector<double> volts = correlated_noise(random, 512, 0.7, 1e-3);
    sums.add(volts);
    spectra.push_back(welch(volts, interval_s, 256));
  }
  const PowerSpectrum spectrum = mean_of(spectra);
  EXPECT_EQ(spectrum.segments, 900U);
  const std::vector<double> density = model_density(sums.model(), spectrum.frequency_hz);
  for (std::size_t k = 4; k + 4 < density.size(); ++k) {
    // 900 segments: 3.3 % a bin, four of them; the taper of the model smooths by a few per cent more.
    EXPECT_NEAR(density[k] / spectrum.density_v2_per_hz[k], 1, 0.2) << k;
  }
}

TEST(welch, odd_sizes_are_decided) {
  EXPECT_TRUE(welch({}, 1, 16).frequency_hz.empty());
  EXPECT_TRUE(welch(std::vector<double>{1, 2}, 1, 0).frequency_hz.empty());
  const PowerSpectrum cut = welch(std::vector<double>{1, -1, 1, -1, 1}, 1, 64);
  EXPECT_EQ(cut.frequency_hz.size(), 3U);
  EXPECT_EQ(cut.segments, 1U);
  EXPECT_EQ(welch(std::vector<double>{3}, 1, 1).density_v2_per_hz, std::vector<double>{0});
  EXPECT_TRUE(mean_of({}).frequency_hz.empty());
}

/// Noise of many colours by number: white, red, blue, resonances broad and less broad.
std::vector<double> noise_of_colour(test::Random& random, std::size_t samples, int colour) {
  switch (colour) {
    case 0:
      return correlated_noise(random, samples, 0);
    case 1:
      return correlated_noise(random, samples, 0.95);
    case 2:
      return correlated_noise(random, samples, -0.8);
    case 3:
      return resonant_noise(random, samples, 0.9, 0.15);
    case 4:
      return resonant_noise(random, samples, 0.95, 0.3);
    default: {
      // Twice through a resonance: a band with steep sides.
      std::vector<double> noise = resonant_noise(random, samples, 0.8, 0.1);
      double one = 0, two = 0;
      for (double& value : noise) {
        value += 1.6 * std::cos(2 * pi * 0.1) * one - 0.64 * two;
        two = one;
        one = value;
      }
      return noise;
    }
  }
}

TEST(pick_up, no_line_is_found_in_noise_of_any_colour_in_99_of_100_spectra) {
  for (int colour = 0; colour < 6; ++colour) {
    int spectra_with_lines = 0;
    for (std::uint64_t seed = 0; seed < 400; ++seed) {
      test::Random random(100 + seed);
      const std::vector<double> volts = noise_of_colour(random, 128 * 40, colour);
      const PowerSpectrum spectrum = welch(volts, interval_s, 256);
      spectra_with_lines += find_pick_up_lines(spectrum).empty() ? 0 : 1;
    }
    EXPECT_LE(spectra_with_lines, 4) << "colour " << colour;
  }
}

TEST(pick_up, no_line_is_found_in_few_segments_of_white_noise_either) {
  for (const std::size_t segments : {1U, 2U, 5U}) {
    int spectra_with_lines = 0;
    for (std::uint64_t seed = 0; seed < 4000; ++seed) {
      test::Random random(2000 + seed);
      std::vector<double> volts(128 * (segments + 1), 0.0);
      random.add_white_noise(volts, 1);
      spectra_with_lines += find_pick_up_lines(welch(volts, interval_s, 256)).empty() ? 0 : 1;
    }
    EXPECT_LE(spectra_with_lines, 40) << segments;
  }
}

TEST(pick_up, a_line_of_three_times_the_noise_around_it_is_found_in_any_colour) {
  for (int colour = 0; colour < 6; ++colour) {
    int found = 0;
    constexpr int trials = 100;
    constexpr double cycles = 0.2203;  // a sample
    for (std::uint64_t seed = 0; seed < trials; ++seed) {
      test::Random random(700 + seed);
      std::vector<double> volts = noise_of_colour(random, 128 * 40, colour);
      const PowerSpectrum bare = welch(volts, interval_s, 256);
      const auto bin = static_cast<std::size_t>(std::lround(cycles * 256));
      double around = 0;
      for (std::size_t k = bin - 4; k <= bin + 4; ++k) around += bare.density_v2_per_hz[k] / 9;
      // Of the line's power A^2/2 a share of 2/3 falls into the highest bin when it is met in its middle, and
      // less at this place: the peak stands two to three times over the noise.
      const double amplitude = std::sqrt(2 * 1.5 * 3 * around * bare.frequency_hz[1]);
      for (std::size_t i = 0; i < volts.size(); ++i)
        volts[i] += amplitude * std::sin(2 * pi * cycles * static_cast<double>(i));
      for (const PickUpLine& line : find_pick_up_lines(welch(volts, interval_s, 256)))
        found += std::abs(line.frequency_hz.value * interval_s - cycles) < 1.0 / 256 ? 1 : 0;
    }
    EXPECT_GE(found, 95) << "colour " << colour;
  }
}

TEST(pick_up, frequency_amplitude_and_uncertainty_hold) {
  double squares = 0, amplitudes = 0;
  int found = 0;
  constexpr int trials = 300;
  for (std::uint64_t seed = 0; seed < trials; ++seed) {
    test::Random random(1300 + seed);
    std::vector<double> volts(128 * 30, 0.0);
    random.add_white_noise(volts, 1e-3);
    const double frequency_hz = random.uniform(60e6, 2.4e9), phase = random.uniform(0, 2 * pi);
    constexpr double amplitude = 0.5e-3;
    for (std::size_t i = 0; i < volts.size(); ++i)
      volts[i] += amplitude * std::sin(2 * pi * frequency_hz * static_cast<double>(i) * interval_s + phase);
    const auto lines = find_pick_up_lines(welch(volts, interval_s, 256));
    if (lines.size() != 1) continue;
    ++found;
    squares += std::pow((lines[0].frequency_hz.value - frequency_hz) / lines[0].frequency_hz.uncertainty, 2);
    amplitudes += lines[0].amplitude_v / amplitude;
    EXPECT_GT(lines[0].excess_db, 5);
  }
  EXPECT_GE(found, trials - 10);  // those within four bins of an end, and rare second lines
  // 300 pulls spread by 4 %; the uncertainty is a fit, good to 20 %.
  EXPECT_NEAR(std::sqrt(squares / found), 1.0, 0.25);
  EXPECT_NEAR(amplitudes / found, 1.0, 0.03);
}

TEST(pick_up, two_lines_come_in_order_and_a_short_spectrum_has_none) {
  test::Random random(47);
  std::vector<double> volts(10000, 0.0);
  random.add_white_noise(volts, 1e-3);
  for (std::size_t i = 0; i < volts.size(); ++i) {
    const double t = static_cast<double>(i) * interval_s;
    volts[i] += 2e-3 * std::sin(2 * pi * 900e6 * t) + 0.8e-3 * std::sin(2 * pi * 98e6 * t);
  }
  const auto lines = find_pick_up_lines(welch(volts, interval_s, 512));
  ASSERT_EQ(lines.size(), 2U);
  EXPECT_NEAR(lines[0].frequency_hz.value, 98e6, 5 * lines[0].frequency_hz.uncertainty);
  EXPECT_NEAR(lines[1].frequency_hz.value, 900e6, 5 * lines[1].frequency_hz.uncertainty);
  EXPECT_NEAR(lines[1].amplitude_v, 2e-3, 0.1e-3);
  EXPECT_TRUE(find_pick_up_lines(welch(volts, interval_s, 20)).empty());
  EXPECT_TRUE(find_pick_up_lines({}).empty());
}

}  // namespace
}  // namespace firstedge
