// Claims of the filters: no time is moved, gains are what they say, bad options are refused in one sentence.
#include "firstedge/signal/filter.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/filter_design.hpp"
#include "firstedge/signal/interpolation.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"
#include "support/sentence_of.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using Kind = FilterOptions::Kind;
using Band = FilterOptions::Band;
using std::numbers::pi;

constexpr double interval_s = 0.2e-9;
constexpr double sigma_s = 0.5335e-9;  // a Gaussian of this deviation rises in 0.9 ns from 10 % to 90 %
constexpr double largest_shift_s = 0.5e-12;

std::shared_ptr<const PulseTemplate> gaussian_template() {
  auto shape = std::make_shared<PulseTemplate>();
  shape->interval_s = interval_s / 8;
  shape->first_s = -80 * shape->interval_s;
  for (int i = -80; i <= 80; ++i)
    shape->shape.push_back(test::gaussian(0, sigma_s)(static_cast<double>(i) * shape->interval_s));
  return shape;
}

std::shared_ptr<const NoiseModel> coloured_noise() {
  auto noise = std::make_shared<NoiseModel>();
  noise->interval_s = interval_s;
  for (int k = 0; k < 30; ++k) noise->autocovariance_v2.push_back(1e-6 * std::pow(0.6, k));
  return noise;
}

/// One filter of each kind and band, of a sort that is used on such a pulse.
std::vector<FilterOptions> all_kinds(bool zero_phase) {
  std::vector<FilterOptions> all;
  for (const Kind kind : {Kind::butterworth, Kind::bessel}) {
    for (const int order : {1, 2, 4}) {
      all.push_back({.kind = kind, .band = Band::low_pass, .order = order, .high_hz = 700e6});
      all.push_back({.kind = kind, .band = Band::high_pass, .order = order, .low_hz = 20e3});
      all.push_back(
          {.kind = kind, .band = Band::band_pass, .order = order, .low_hz = 20e3, .high_hz = 700e6});
    }
  }
  all.push_back({.kind = Kind::notch, .low_hz = 98e6, .quality = 10});
  all.push_back({.kind = Kind::moving_average, .width_s = 0.8e-9});
  all.push_back({.kind = Kind::moving_average, .width_s = 0.53e-9});
  all.push_back({.kind = Kind::gaussian, .width_s = 0.4e-9});
  all.push_back({.kind = Kind::matched, .pulse_template = gaussian_template(), .noise = coloured_noise()});
  for (FilterOptions& options : all) options.zero_phase = zero_phase;
  return all;
}

std::string name_of(const FilterOptions& options) {
  return "kind " + std::to_string(static_cast<int>(options.kind)) + " band " +
         std::to_string(static_cast<int>(options.band)) + " order " + std::to_string(options.order);
}

struct Times {
  double middle_s = 0;  ///< half way between the crossings of half the peak
  double peak_s = 0;    ///< where the slope is zero
  double centroid_s = 0;
};

/// Times of a pulse, from its samples over zero.
Times times_of(const std::vector<double>& volts, double first_s) {
  const auto top = static_cast<std::size_t>(std::max_element(volts.begin(), volts.end()) - volts.begin());
  std::vector<double> slopes;  // between samples k and k + 1, at k + 1/2; fourth order
  for (std::size_t k = 1; k + 2 < volts.size(); ++k)
    slopes.push_back((27 * (volts[k + 1] - volts[k]) - (volts[k + 2] - volts[k - 1])) / 24);
  double peak = 0;
  for (std::size_t k = top - 3; k < top + 2; ++k) {
    if (const auto crossing = find_crossing(slopes, k, 0, Interpolation::quintic))
      peak = crossing->position + 1.5;
  }
  const double half = 0.5 * interpolated(volts, peak, Interpolation::quintic);
  std::size_t rise = top, fall = top;
  while (volts[rise] >= half) --rise;
  while (volts[fall + 1] >= half) ++fall;
  const double up = find_crossing(volts, rise, half, Interpolation::quintic)->position;
  const double down = find_crossing(volts, fall, half, Interpolation::quintic)->position;
  double weights = 0, moments = 0;
  for (std::size_t k = 0; k < volts.size(); ++k) {
    weights += volts[k];
    moments += volts[k] * static_cast<double>(k);
  }
  return {.middle_s = first_s + 0.5 * (up + down) * interval_s,
          .peak_s = first_s + peak * interval_s,
          .centroid_s = first_s + moments / weights * interval_s};
}

/// Times of a Gaussian pulse at time 0 after the filter, for one phase of the samples.
Times filtered_times(const FilterOptions& options, double phase) {
  const double first_s = -(300 + phase) * interval_s;
  const std::vector<double> volts = test::sampled(test::gaussian(0, sigma_s), 0.3, 4000, interval_s, first_s);
  const Filtered filtered = apply_filter(volts, interval_s, options);
  return times_of(filtered.volts, first_s - filtered.delay_s);
}

TEST(filter, no_zero_phase_filter_moves_a_symmetric_pulse) {
  for (const FilterOptions& options : all_kinds(true)) {
    for (const double phase : {0.0, 0.25, 0.5, 0.8}) {
      const Times times = filtered_times(options, phase);
      EXPECT_NEAR(times.middle_s, 0, largest_shift_s) << name_of(options) << " phase " << phase;
      EXPECT_NEAR(times.peak_s, 0, largest_shift_s) << name_of(options) << " phase " << phase;
    }
  }
}

TEST(filter, no_causal_filter_moves_the_centroid_of_a_symmetric_pulse) {
  for (const FilterOptions& options : all_kinds(false)) {
    if (options.band != Band::low_pass) continue;  // a pulse of mean zero has no centroid
    for (const double phase : {0.0, 0.25, 0.5, 0.8})
      EXPECT_NEAR(filtered_times(options, phase).centroid_s, 0, largest_shift_s) << name_of(options);
  }
}

TEST(filter, causal_low_passes_lean_edges_by_as_much_as_the_header_says) {
  const auto shift_s = [](Kind kind, Band band) {
    const FilterOptions options{.kind = kind,
                                .band = band,
                                .order = 4,
                                .low_hz = band == Band::low_pass ? 0 : 20e3,
                                .high_hz = 1e9,
                                .zero_phase = false};
    double worst = 0;
    for (const double phase : {0.0, 0.25, 0.5, 0.8})
      worst = std::max(worst, std::abs(filtered_times(options, phase).middle_s));
    return worst;
  };
  for (const Band band : {Band::low_pass, Band::band_pass}) {
    EXPECT_LT(shift_s(Kind::bessel, band), 8e-12);
    EXPECT_LT(shift_s(Kind::butterworth, band), 20e-12);
  }
}

TEST(filter, a_causal_high_pass_moves_the_peak_as_stated) {
  for (const int order : {1, 2, 4}) {
    for (const double corner_hz : {20e3, 1e6}) {
      const FilterOptions options{
          .band = Band::high_pass, .order = order, .low_hz = corner_hz, .zero_phase = false};
      const double stated_s = 2 * pi * corner_hz * sigma_s * sigma_s / std::sin(pi / (2.0 * order));
      // First order in corner * sigma: the next is smaller by some 2 pi 1e6 * 0.5e-9 * order = 1 %. Finding
      // the peak between samples costs 0.05 ps.
      EXPECT_NEAR(filtered_times(options, 0.3).peak_s, -stated_s, 0.03 * stated_s + 0.05e-12) << order;
    }
  }
}

TEST(filter, a_narrow_causal_band_pass_keeps_the_envelope_of_a_burst) {
  const FilterOptions options{
      .band = Band::band_pass, .order = 2, .low_hz = 80e6, .high_hz = 120e6, .zero_phase = false};
  // A burst much longer than the filter's memory, at the centre of the band.
  constexpr double burst_s = 100e-9, start_s = -600e-9;
  const double centre_hz = std::sqrt(80e6 * 120e6);
  std::vector<double> volts;
  for (int i = 0; i < 6000; ++i) {
    const double t = start_s + i * interval_s;
    volts.push_back(test::gaussian(0, burst_s)(t) * std::cos(2 * pi * centre_hz * t));
  }
  const Filtered filtered = apply_filter(volts, interval_s, options);
  double weights = 0, moments = 0;
  for (std::size_t i = 0; i < filtered.volts.size(); ++i) {
    const double power = filtered.volts[i] * filtered.volts[i];
    weights += power;
    moments += power * (start_s + static_cast<double>(i) * interval_s - filtered.delay_s);
  }
  EXPECT_GT(filtered.delay_s, 10e-9);
  // The delay's curvature over the burst's band (1.6 MHz of 40 MHz) is (1.6/20)^2 = 0.6 % of 16 ns.
  EXPECT_NEAR(moments / weights, 0, 0.1e-9);
}

TEST(filter, gains_are_what_a_sine_gets) {
  for (const bool zero_phase : {true, false}) {
    for (const FilterOptions& options : all_kinds(zero_phase)) {
      const Filter filter(options, interval_s);
      for (const double frequency_hz : {50e6, 400e6, 1.1e9}) {
        std::vector<double> volts;
        for (int i = 0; i < 3000; ++i) volts.push_back(std::sin(2 * pi * frequency_hz * i * interval_s));
        const std::vector<double> out = filter(volts).volts;
        double sines = 0, cosines = 0;  // over the middle 1000 samples, in a Hann window
        for (std::size_t i = 1000; i < 2000; ++i) {
          const double angle = 2 * pi * frequency_hz * static_cast<double>(i) * interval_s;
          const double window = (1 - std::cos(2 * pi * static_cast<double>(i) / 1000)) / 500;
          sines += window * out[i] * std::sin(angle);
          cosines += window * out[i] * std::cos(angle);
        }
        // High-passes of 20 kHz remember the start of the sine as a slow drift of 1e-3, of which the window
        // lets 1e-3 through.
        EXPECT_NEAR(std::hypot(sines, cosines), filter.gain(frequency_hz), 5e-5) << name_of(options);
      }
    }
  }
}

TEST(filter, the_corner_is_three_decibels_down_once_and_six_twice) {
  for (const Kind kind : {Kind::butterworth, Kind::bessel}) {
    for (const int order : {1, 3, 4, 8}) {
      FilterOptions options{.kind = kind, .order = order, .high_hz = 400e6, .zero_phase = false};
      EXPECT_NEAR(Filter(options, interval_s).gain(400e6), std::sqrt(0.5), 1e-9) << order;
      options.zero_phase = true;
      EXPECT_NEAR(Filter(options, interval_s).gain(400e6), 0.5, 1e-9) << order;
      EXPECT_NEAR(Filter(options, interval_s).gain(0), 1, 1e-9) << order;
    }
  }
  EXPECT_NEAR(Filter({.kind = Kind::notch, .low_hz = 98e6}, interval_s).gain(98e6), 0, 1e-9);
}

TEST(filter, constants_and_slopes_go_through_a_zero_phase_low_pass_to_the_ends) {
  std::vector<double> line(200);
  for (std::size_t i = 0; i < line.size(); ++i) line[i] = 0.3 - 0.01 * static_cast<double>(i);
  for (const FilterOptions& options : all_kinds(true)) {
    if (options.band != Band::low_pass || options.kind == Kind::matched || options.kind == Kind::notch)
      continue;
    const std::vector<double> out = apply_filter(line, interval_s, options).volts;
    for (std::size_t i = 0; i < line.size(); ++i) EXPECT_NEAR(out[i], line[i], 1e-4) << name_of(options);
  }
}

TEST(filter, a_moving_average_covers_exactly_its_width) {
  std::vector<double> impulse(21, 0.0);
  impulse[10] = 1;
  const auto width = [&](double samples) {
    return apply_filter(impulse, 1, {.kind = Kind::moving_average, .width_s = samples}).volts;
  };
  EXPECT_DOUBLE_EQ(width(3)[10], 1.0 / 3);
  EXPECT_DOUBLE_EQ(width(3)[11], 1.0 / 3);
  EXPECT_DOUBLE_EQ(width(3)[12], 0);
  EXPECT_DOUBLE_EQ(width(4)[12], 0.125);  // half of the sample at either end
  EXPECT_DOUBLE_EQ(width(4)[8], 0.125);
  EXPECT_DOUBLE_EQ(width(0.5)[10], 1);
}

TEST(filter, long_kernels_give_the_plain_sums_whatever_the_lengths) {
  test::Random random(52);
  for (const std::size_t samples : {1U, 7U, 300U, 1025U}) {
    std::vector<double> volts(samples, 0.4);
    random.add_white_noise(volts, 1);
    for (const double width : {3.0, 42.6, 42.8, 60.0, 300.0}) {  // 257 weights and more go another way
      const FilterKernel kernel = gaussian_kernel(width);
      const std::vector<double> out =
          apply_filter(volts, 1, {.kind = Kind::gaussian, .width_s = width}).volts;
      ASSERT_EQ(out.size(), samples);
      const auto at = [&](std::ptrdiff_t i) {  // the trace and its point reflections, held beyond
        const auto last = static_cast<std::ptrdiff_t>(samples) - 1;
        if (i < 0) return 2 * volts[0] - volts[static_cast<std::size_t>(std::min(-i, last))];
        if (i > last)
          return 2 * volts.back() -
                 volts[static_cast<std::size_t>(std::max<std::ptrdiff_t>(2 * last - i, 0))];
        return volts[static_cast<std::size_t>(i)];
      };
      for (std::size_t i = 0; i < samples; i += 37) {
        double sum = 0;
        for (std::size_t k = 0; k < kernel.weights.size(); ++k)
          sum += kernel.weights[k] *
                 at(static_cast<std::ptrdiff_t>(i + k) - static_cast<std::ptrdiff_t>(kernel.origin));
        EXPECT_NEAR(out[i], sum, 1e-13) << samples << " " << width;  // rounding of samples of size 4
      }
    }
  }
}

TEST(filter, the_matched_filter_gives_the_largest_height_over_noise) {
  // Height over noise of the matched filter: sqrt(s' C^-1 s); any other filter's is lower (Cauchy-Schwarz).
  const FilterOptions matched{
      .kind = Kind::matched, .pulse_template = gaussian_template(), .noise = coloured_noise()};
  const auto height_over_noise = [](const FilterKernel& kernel) {
    double height = 0, variance = 0;
    for (std::size_t a = 0; a < kernel.weights.size(); ++a) {
      const double time_s = (static_cast<double>(a) - static_cast<double>(kernel.origin)) * interval_s;
      height += kernel.weights[a] * test::gaussian(0, sigma_s)(time_s);
      for (std::size_t b = 0; b < kernel.weights.size(); ++b)
        variance +=
            kernel.weights[a] * kernel.weights[b] * coloured_noise()->covariance_v2(a > b ? a - b : b - a);
    }
    return height / std::sqrt(variance);
  };
  const FilterKernel best = matched_kernel(*gaussian_template(), *coloured_noise(), interval_s);
  const double most = height_over_noise(best);
  test::Random random(51);
  for (int trial = 0; trial < 200; ++trial) {
    FilterKernel other = best;
    for (double& weight : other.weights) weight += random.normal(0, 0.02);
    EXPECT_LT(height_over_noise(other), most);
  }
  EXPECT_GT(most, height_over_noise(gaussian_kernel(1.5)));
  EXPECT_GT(most, 1.2 * height_over_noise(moving_average_kernel(1)));
  // The pulse keeps its height.
  const std::vector<double> volts =
      test::sampled(test::gaussian(0, sigma_s), 0.3, 101, interval_s, -50 * interval_s);
  EXPECT_NEAR(apply_filter(volts, interval_s, matched).volts[50], 0.3, 1e-6);
}

TEST(filter, few_samples_pass_through_every_filter) {
  for (const bool zero_phase : {true, false}) {
    for (const FilterOptions& options : all_kinds(zero_phase)) {
      EXPECT_TRUE(apply_filter({}, interval_s, options).volts.empty());
      const bool lets_the_mean_through = options.band == Band::low_pass && options.kind != Kind::matched;
      for (const std::size_t samples : {1U, 2U, 5U}) {
        const std::vector<double> out = apply_filter(std::vector(samples, 0.7), interval_s, options).volts;
        ASSERT_EQ(out.size(), samples);
        for (const double value : out) {
          EXPECT_TRUE(std::isfinite(value));
          if (lets_the_mean_through) {
            EXPECT_NEAR(value, 0.7, 1e-9) << name_of(options);
          }
        }
      }
    }
  }
}

TEST(filter, settings_become_options_and_wrong_ones_one_sentence) {
  Settings settings("setup, filters/0");
  settings.set("kind", "bessel");
  settings.set("band", "band_pass");
  settings.set("order", 2.0);
  settings.set("cut", Settings::Value{Settings::List{{std::string("1 MHz")}, {std::string("400 MHz")}}});
  settings.set("phase", "causal");
  const FilterOptions options = filter_options(settings);
  EXPECT_EQ(options.kind, Kind::bessel);
  EXPECT_EQ(options.band, Band::band_pass);
  EXPECT_EQ(options.order, 2);
  EXPECT_DOUBLE_EQ(options.low_hz, 1e6);
  EXPECT_DOUBLE_EQ(options.high_hz, 4e8);
  EXPECT_FALSE(options.zero_phase);
  const auto sentence = [](const std::vector<std::pair<std::string, Settings::Value>>& values) {
    return test::sentence_of([&] {
      Settings wrong("setup, filters/0");
      for (const auto& [name, value] : values) wrong.set(name, value);
      filter_options(wrong);
    });
  };
  EXPECT_THAT(sentence({{"kind", {std::string("fir")}}}),
              testing::HasSubstr("choose one of butterworth, bessel"));
  EXPECT_THAT(sentence({{"cut", {std::string("1 GHz")}}, {"order", {2.5}}}),
              testing::HasSubstr("order: is 2.5"));
  EXPECT_THAT(sentence({}), testing::HasSubstr("cut: holds 0 frequencies"));
  EXPECT_THAT(sentence({{"kind", {std::string("notch")}}}), testing::HasSubstr("centre: is missing"));
  EXPECT_THAT(sentence({{"kind", {std::string("gaussian")}}}), testing::HasSubstr("width: is missing"));
  EXPECT_THAT(sentence({{"cut", {std::string("1 GHz")}}, {"widht", {1.0}}}),
              testing::HasSubstr("widht: is not a name"));
}

TEST(filter, designs_that_cannot_be_are_refused) {
  const auto sentence = [](const FilterOptions& options) {
    return test::sentence_of([&] { Filter(options, interval_s); });
  };
  EXPECT_THAT(sentence({.high_hz = 2.5e9}), testing::HasSubstr("2.5e+09 Hz is not between 0 and half"));
  EXPECT_THAT(sentence({.high_hz = std::nan("")}), testing::HasSubstr("not between"));
  EXPECT_THAT(sentence({.order = 13, .high_hz = 1e8}), testing::HasSubstr("order 13"));
  EXPECT_THAT(sentence({.band = Band::band_pass, .low_hz = 2e8, .high_hz = 1e8}),
              testing::HasSubstr("rising order"));
  EXPECT_THAT(sentence({.kind = Kind::gaussian, .width_s = 1}),
              testing::HasSubstr("a hundred thousand samples"));
  EXPECT_THAT(sentence({.kind = Kind::moving_average, .width_s = -1}), testing::HasSubstr("more than 0"));
  EXPECT_THAT(sentence({.kind = Kind::notch, .low_hz = 1e8, .quality = 0}), testing::HasSubstr("quality"));
  EXPECT_THAT(sentence({.kind = Kind::matched}), testing::HasSubstr("template or noise is not known"));
  EXPECT_THAT(test::sentence_of([] { Filter({.high_hz = 1e8}, 0); }), testing::HasSubstr("sample interval"));
}

}  // namespace
}  // namespace firstedge
