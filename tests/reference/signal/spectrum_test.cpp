// Spectra against SciPy, run beside them, and the noise of quantisation against its closed forms.
#include "firstedge/signal/fft.hpp"
#include "firstedge/signal/noise.hpp"

#include "scipy.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using std::numbers::pi;

TEST(spectrum_reference, welch_equals_scipy_signal_welch_for_any_segment) {
  test::Random random(61);
  std::vector<double> volts(1003, 0.02);
  random.add_white_noise(volts, 1e-3);
  for (std::size_t i = 0; i < volts.size(); ++i) volts[i] += 1e-3 * std::sin(0.7 * static_cast<double>(i));
  const std::vector<std::size_t> segments{2, 3, 7, 64, 65, 100, 256, 1003};
  std::string script;
  for (const std::size_t segment : segments)
    script += "f, p = signal.welch(x, fs=5e9, nperseg=" + std::to_string(segment) + ")\nshow(f); show(p)\n";
  const std::vector<double> expected = test::from_scipy(script, volts);
  std::size_t next = 0;
  for (const std::size_t segment : segments) {
    const PowerSpectrum ours = welch(volts, 0.2e-9, segment);
    const std::size_t bins = segment / 2 + 1;
    ASSERT_EQ(ours.frequency_hz.size(), bins);
    ASSERT_LE(next + 2 * bins, expected.size());
    const double largest = *std::max_element(ours.density_v2_per_hz.begin(), ours.density_v2_per_hz.end());
    for (std::size_t k = 0; k < bins; ++k) {
      EXPECT_NEAR(ours.frequency_hz[k], expected[next + k], 1e-15 * 2.5e9 * 4) << segment;  // rounding
      // Rounding of two transforms: 1e-15 of the largest line; bins that are 0 but for it included.
      EXPECT_NEAR(ours.density_v2_per_hz[k], expected[next + bins + k], 1e-13 * largest) << segment;
    }
    next += 2 * bins;
  }
  EXPECT_EQ(next, expected.size());
}

TEST(spectrum_reference, rounding_to_counts_adds_a_twelfth_of_a_squared_step) {
  // Standard deviation q/sqrt(12) = 0.288675134595 q (closed form; JCGM
  // 100:2008, 4.3.7).
  test::Random random(62);
  double squares = 0;
  constexpr int samples = 200000;
  for (int i = 0; i < samples; ++i) {
    const double value = random.uniform(-1000, 1000);
    squares += std::pow(value - std::round(value), 2) / samples;
  }
  // The variance of the square of a uniform error, 1/180, over 200 000: 1.7e-4 of 0.0833 in the mean square.
  EXPECT_NEAR(std::sqrt(squares), 0.288675134595, 4 * 1.7e-4 / (2 * 0.2887));
}

TEST(spectrum_reference, a_full_scale_sine_of_n_bits_has_the_textbook_ratio_to_its_rounding) {
  // 6.02059991328 N + 1.76091259056 dB: 20 log10(2) N + 10 log10(1.5), closed form.
  for (const int bits : {8, 10, 12}) {
    const double amplitude = std::pow(2.0, bits - 1);
    // An irrational frequency lets the sine meet all counts evenly.
    double noise = 0;
    constexpr int samples = 1 << 17;
    for (int i = 0; i < samples; ++i) {
      const double value = amplitude * std::sin(std::numbers::sqrt2 * i);
      noise += std::pow(value - std::round(value), 2) / samples;
    }
    const double ratio_db = 10 * std::log10(0.5 * amplitude * amplitude / noise);
    // The harmonics of the rounding fall off like N^-1/2 of the amplitude (Bessel functions): at 8 bits the
    // error power is within 3 % of a twelfth, 0.13 dB.
    EXPECT_NEAR(ratio_db, 6.02059991328 * bits + 1.76091259056, 0.13) << bits;
  }
}

}  // namespace
}  // namespace firstedge
