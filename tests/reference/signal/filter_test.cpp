// Filters against SciPy, run beside them: designs by their response, and filtered samples one by one.
#include "firstedge/signal/filter.hpp"

#include "firstedge/signal/filter_design.hpp"

#include "scipy.hpp"
#include "support/random.hpp"

#include <cmath>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using Kind = FilterOptions::Kind;
using Band = FilterOptions::Band;

constexpr double sampling_hz = 5e9;

struct Design {
  FilterOptions options;
  std::string scipy;  ///< the expression that makes second-order sections of the same design
};

std::string corners_of(const FilterOptions& options) {
  const std::string low = std::to_string(options.low_hz), high = std::to_string(options.high_hz);
  if (options.band == Band::low_pass) return high + ", 'lowpass'";
  if (options.band == Band::high_pass) return low + ", 'highpass'";
  return "[" + low + ", " + high + "], 'bandpass'";
}

std::vector<Design> designs() {
  std::vector<Design> all;
  for (const Kind kind : {Kind::butterworth, Kind::bessel}) {
    for (const Band band : {Band::low_pass, Band::high_pass, Band::band_pass}) {
      for (const int order : {1, 2, 3, 4, 7, 12}) {
        FilterOptions options{.kind = kind, .band = band, .order = order};
        if (band != Band::low_pass) options.low_hz = band == Band::high_pass ? 2e8 : 1.5e8;
        if (band != Band::high_pass) options.high_hz = 9e8;
        const std::string order_and_corners = std::to_string(order) + ", " + corners_of(options);
        const std::string ends = ", fs=5e9, output='sos')";
        const std::string scipy = kind == Kind::butterworth
                                      ? "signal.butter(" + order_and_corners + ends
                                      : "signal.bessel(" + order_and_corners + ", norm='mag'" + ends;
        all.push_back({options, scipy});
      }
    }
  }
  for (const double quality : {2.0, 30.0}) {
    FilterOptions options{.kind = Kind::notch, .low_hz = 98e6, .quality = quality};
    all.push_back(
        {options, "signal.tf2sos(*signal.iirnotch(98e6, " + std::to_string(quality) + ", fs=5e9))"});
  }
  return all;
}

TEST(filter_reference, responses_equal_those_of_scipy_signal) {
  std::string script;
  for (const Design& design : designs())
    script += "w, h = signal.sosfreqz(" + design.scipy +
              ", worN=np.linspace(0, 2.49e9, 200), fs=5e9)\n"
              "show(np.real(h)); show(np.imag(h))\n";
  const std::vector<double> expected = test::from_scipy(script);
  ASSERT_EQ(expected.size(), designs().size() * 400);
  std::size_t next = 0;
  for (const Design& design : designs()) {
    const auto sections =
        design.options.kind == Kind::notch
            ? std::vector{notch_section(design.options.low_hz, design.options.quality, sampling_hz)}
            : recursive_sections(design.options, sampling_hz);
    double worst = 0;
    for (std::size_t i = 0; i < 200; ++i) {
      const auto ours = response(sections, 2.49e9 * static_cast<double>(i) / 199 / sampling_hz);
      worst = std::max(worst, std::abs(ours - std::complex(expected[next + i], expected[next + 200 + i])));
    }
    next += 400;
    // Rounding of poles of order 12 near the unit circle on either side: 1e-16 over a distance of 1e-2, and
    // 24 factors; SciPy's Bessel poles are good to 1e-11 or so at that order.
    EXPECT_LT(worst, 1e-10) << design.scipy;
  }
}

TEST(filter_reference, zero_phase_samples_equal_those_of_scipy_sosfiltfilt) {
  test::Random random(5);
  std::vector<double> volts(700, 0.3);
  random.add_white_noise(volts, 1);
  std::string script;
  for (const Design& design : designs()) script += "show(signal.sosfiltfilt(" + design.scipy + ", x))\n";
  const std::vector<double> expected = test::from_scipy(script, volts);
  ASSERT_EQ(expected.size(), designs().size() * volts.size());
  std::size_t next = 0;
  for (const Design& design : designs()) {
    const Filtered ours = apply_filter(volts, 1 / sampling_hz, design.options);
    EXPECT_EQ(ours.delay_s, 0);
    double worst = 0;
    for (const double value : ours.volts) worst = std::max(worst, std::abs(value - expected[next++]));
    // Samples of size 3; recursions of order 24 carry rounding 1e-16 with gains up to 1e4.
    EXPECT_LT(worst, 1e-9) << design.scipy;
  }
}

TEST(filter_reference, causal_samples_equal_those_of_scipy_sosfilt) {
  // A trace that starts at rest for longer than any of the filters remembers: its continuation is at rest
  // too.
  std::vector<double> volts(5000, 0.0);
  test::Random random(6);
  for (std::size_t i = 4500; i < volts.size(); ++i) volts[i] = random.normal(0, 1);
  std::string script;
  for (const Design& design : designs()) script += "show(signal.sosfilt(" + design.scipy + ", x))\n";
  const std::vector<double> expected = test::from_scipy(script, volts);
  std::size_t next = 0;
  for (const Design& design : designs()) {
    FilterOptions options = design.options;
    options.zero_phase = false;
    const Filtered ours = apply_filter(volts, 1 / sampling_hz, options);
    double worst = 0;
    for (const double value : ours.volts) worst = std::max(worst, std::abs(value - expected.at(next++)));
    EXPECT_LT(worst, 1e-9) << design.scipy;  // as above
  }
}

TEST(filter_reference, group_delays_equal_those_of_scipy) {
  std::string script;
  for (const Design& design : designs())
    script += "b, a = signal.sos2tf(" + design.scipy +
              ")\n"
              "sos = " +
              design.scipy +
              "\n"
              "show(sum(signal.group_delay((s[:3], s[3:]), w=[0.37])[1] for s in sos))\n";
  const std::vector<double> expected = test::from_scipy(script);
  std::size_t next = 0;
  for (const Design& design : designs()) {
    const auto sections =
        design.options.kind == Kind::notch
            ? std::vector{notch_section(design.options.low_hz, design.options.quality, sampling_hz)}
            : recursive_sections(design.options, sampling_hz);
    const double ours = group_delay(sections, 0.37 / (2 * std::acos(-1.0)));
    EXPECT_NEAR(ours, expected.at(next), 1e-8 * std::abs(expected[next]) + 1e-9) << design.scipy;
    ++next;
  }
}

TEST(filter_reference, the_gaussian_equals_scipy_ndimage) {
  test::Random random(7);
  std::vector<double> volts(300, 0.0);
  random.add_white_noise(volts, 1);
  const std::vector<double> expected = test::from_scipy(
      "from scipy import ndimage\nshow(ndimage.gaussian_filter1d(x, 3.25, truncate=6))\n", volts);
  const Filtered ours = apply_filter(volts, 1, {.kind = Kind::gaussian, .width_s = 3.25});
  ASSERT_EQ(ours.volts.size(), expected.size());
  // Away from the ends, which SciPy continues otherwise; truncated at ceil(6 * 3.25) = 20 samples there and
  // here: the weights beyond would be 2e-9.
  for (std::size_t i = 30; i + 30 < volts.size(); ++i) EXPECT_NEAR(ours.volts[i], expected[i], 1e-8);
}

}  // namespace
}  // namespace firstedge
