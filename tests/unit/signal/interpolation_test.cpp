// Claims of the interpolation: exact where it must be, of the order it states, clear of kinks, honest about
// noise.
#include "firstedge/signal/interpolation.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::Shape;

constexpr double edge_s = 0.9e-9;

/// The first crossing of a level on the way up, in samples.
Crossing first_crossing(const std::vector<double>& values, double level, Interpolation interpolation) {
  for (std::size_t i = 0; i + 1 < values.size(); ++i) {
    if (values[i] < level && values[i + 1] >= level)
      return find_crossing(values, i, level, interpolation).value();
  }
  ADD_FAILURE() << "no crossing of " << level;
  return {};
}

/// An edge of 0.9 ns from 10 % to 90 %: its shape, when it crosses a fraction of its height, and where its
/// kink is.
struct Edge {
  const char* name;
  Shape shape;
  std::function<double(double)> crossing_s;
  double kink_s;
};

Edge rc_edge() {
  const double tau = edge_s / std::log(9.0);
  return {"rc step", test::rc_step(0, tau), [=](double f) { return -tau * std::log1p(-f); }, 0};
}

Edge gaussian_edge() {
  const double sigma = edge_s / (std::sqrt(2 * std::log(10.0)) - std::sqrt(2 * std::log(1 / 0.9)));
  return {"gaussian", test::gaussian(0, sigma),
          [=](double f) { return -sigma * std::sqrt(2 * std::log(1 / f)); }, -1};
}

/// The rising crossing of exp(-t/decay) - exp(-t/rise) by bisection: the function is rising up to its peak.
double double_exponential_crossing(double rise, double decay, double fraction) {
  const double peak_s = rise * decay / (decay - rise) * std::log(decay / rise);
  const auto value = [=](double t) { return std::exp(-t / decay) - std::exp(-t / rise); };
  double low = 0, high = peak_s;
  for (int i = 0; i < 200; ++i) {
    const double middle = 0.5 * (low + high);
    (value(middle) < fraction * value(peak_s) ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

Edge double_exponential_edge(double ratio) {
  const double unit_edge =
      double_exponential_crossing(1, ratio, 0.9) - double_exponential_crossing(1, ratio, 0.1);
  const double rise = edge_s / unit_edge;
  const double peak_s = rise * ratio / (ratio - 1) * std::log(ratio);
  const Shape shape = test::double_exponential(0, rise, ratio * rise);
  const double peak = shape(peak_s);
  return {"double exponential", [=](double t) { return shape(t) / peak; },
          [=](double f) { return double_exponential_crossing(rise, ratio * rise, f); }, 0};
}

std::vector<Edge> edges() {
  return {rc_edge(), gaussian_edge(), double_exponential_edge(3), double_exponential_edge(10),
          double_exponential_edge(40)};
}

/// The largest error over phases and fractions, leaving out brackets that hold the kink.
double worst_error_s(const Edge& edge, double samples_an_edge, Interpolation interpolation) {
  const double interval = edge_s / samples_an_edge;
  const auto before = static_cast<std::size_t>(3 * samples_an_edge);
  double worst = 0;
  constexpr int phases = 97;
  for (int phase = 0; phase < phases; ++phase) {
    const double first_s = -(static_cast<double>(before) + phase / static_cast<double>(phases)) * interval;
    const std::vector<double> values = test::sampled(edge.shape, 1, 4 * before, interval, first_s);
    for (int tenths = 1; tenths <= 9; ++tenths) {
      const double fraction = 0.1 * tenths;
      const Crossing crossing = first_crossing(values, fraction, interpolation);
      const double bracket_s = first_s + std::floor(crossing.position) * interval;
      if (bracket_s < edge.kink_s) continue;
      const double found_s = first_s + crossing.position * interval;
      worst = std::max(worst, std::abs(found_s - edge.crossing_s(fraction)));
    }
  }
  return worst;
}

TEST(interpolation, crossings_of_closed_form_edges_keep_the_stated_bounds) {
  for (const Edge& edge : edges()) {
    EXPECT_LE(worst_error_s(edge, 4, Interpolation::cubic), cubic_error_s_at_four_samples) << edge.name;
    EXPECT_LE(worst_error_s(edge, 4, Interpolation::quintic), quintic_error_s_at_four_samples) << edge.name;
    EXPECT_LE(worst_error_s(edge, 20, Interpolation::cubic), cubic_error_s_at_twenty_samples) << edge.name;
    EXPECT_LE(worst_error_s(edge, 20, Interpolation::quintic), quintic_error_s_at_twenty_samples)
        << edge.name;
  }
}

TEST(interpolation, the_error_falls_with_the_stated_order) {
  const std::array<std::pair<Interpolation, double>, 3> orders{
      {{Interpolation::linear, 2}, {Interpolation::cubic, 4}, {Interpolation::quintic, 6}}};
  for (const Edge& edge : edges()) {
    for (const auto& [interpolation, order] : orders) {
      const double coarse = worst_error_s(edge, 10, interpolation);
      const double fine = worst_error_s(edge, 20, interpolation);
      // Half the interval: a factor 2^order in the limit; half an order is left for the next term.
      EXPECT_GT(std::log2(coarse / fine), order - 0.5) << edge.name << ", order " << order;
    }
  }
}

TEST(interpolation, a_linear_ramp_is_crossed_exactly) {
  for (const Interpolation interpolation :
       {Interpolation::linear, Interpolation::cubic, Interpolation::quintic}) {
    for (const double phase : {0.0, 0.1, 0.37, 0.5, 0.99}) {
      std::vector<double> values(40);
      for (std::size_t i = 0; i < values.size(); ++i)
        values[i] = 0.013 * (static_cast<double>(i) - 5 - phase);
      for (const double level : {0.0, 0.1, 0.2222, 0.4}) {
        const double exact = 5 + phase + level / 0.013;
        const Crossing crossing = first_crossing(values, level, interpolation);
        // Rounding of the samples (1e-16 of 0.44) over the slope of 0.013 a sample: 3e-14 samples.
        EXPECT_NEAR(crossing.position, exact, 1e-12 * exact);
        EXPECT_NEAR(crossing.slope_per_sample, 0.013, 1e-12);
      }
    }
  }
}

TEST(interpolation, constants_and_straight_lines_are_interpolated_exactly_everywhere) {
  std::vector<double> line(12), constant(12, 3.25);
  for (std::size_t i = 0; i < line.size(); ++i) line[i] = 2 - 0.5 * static_cast<double>(i);
  for (const Interpolation interpolation :
       {Interpolation::linear, Interpolation::cubic, Interpolation::quintic}) {
    for (double position = 0; position <= 11; position += 0.171) {
      EXPECT_NEAR(interpolated(line, position, interpolation), 2 - 0.5 * position, 1e-14);
      EXPECT_NEAR(interpolated(constant, position, interpolation), 3.25, 1e-14);
    }
  }
}

TEST(interpolation, polynomials_of_its_degree_are_exact_and_samples_are_met) {
  std::vector<double> cubic(16), quintic(16);
  const auto poly = [](double t, int degree) { return std::pow(t - 7.3, degree) - 2 * t; };
  for (std::size_t i = 0; i < cubic.size(); ++i) {
    cubic[i] = poly(static_cast<double>(i), 3);
    quintic[i] = poly(static_cast<double>(i), 5);
  }
  for (double position = 0; position <= 15; position += 0.25) {
    // Values up to 3e4 (degree 5) and weights up to 10: 1e-16 * 3e5.
    EXPECT_NEAR(interpolated(cubic, position, Interpolation::cubic), poly(position, 3), 1e-10);
    EXPECT_NEAR(interpolated(quintic, position, Interpolation::quintic), poly(position, 5), 1e-9);
  }
}

TEST(interpolation, the_weights_at_a_crossing_give_the_level_and_its_response_to_noise) {
  const std::vector<double> values = test::sampled(test::gaussian(4.1, 1.3), 1, 12, 1);
  for (const Interpolation interpolation :
       {Interpolation::linear, Interpolation::cubic, Interpolation::quintic}) {
    const Crossing crossing = first_crossing(values, 0.4, interpolation);
    double level = 0, sum = 0;
    for (std::size_t i = 0; i < crossing.stencil.size; ++i) {
      level += crossing.stencil.weights[i] * values[crossing.stencil.first + i];
      sum += crossing.stencil.weights[i];
    }
    EXPECT_NEAR(level, 0.4, 1e-13);
    EXPECT_NEAR(sum, 1, 1e-13);
    for (std::size_t i = 0; i < crossing.stencil.size; ++i) {
      std::vector<double> pushed = values;
      constexpr double push = 1e-7;
      pushed[crossing.stencil.first + i] += push;
      const double moved = first_crossing(pushed, 0.4, interpolation).position - crossing.position;
      // Second order in the push over the slope: 1e-7 relative; rounding 1e-16/1e-7.
      EXPECT_NEAR(moved / push, -crossing.stencil.weights[i] / crossing.slope_per_sample, 1e-5);
    }
  }
}

TEST(interpolation, with_the_noise_given_the_spread_is_that_of_the_centred_samples) {
  // A slow sine: smooth, so the centred stencil is right; its weights at mid-bracket have a gain of 0.64.
  constexpr double noise = 0.02;
  test::Random random(20240611);
  double known = 0, unknown = 0;
  constexpr int trials = 4000;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> values(24);
    for (std::size_t i = 0; i < values.size(); ++i)
      values[i] = std::sin(0.15 * (static_cast<double>(i) - 11.5));
    random.add_white_noise(values, noise);
    known += std::pow(interpolated(values, 11.5, Interpolation::cubic, noise), 2);
    unknown += std::pow(interpolated(values, 11.5, Interpolation::cubic), 2);
  }
  const double gain = std::sqrt(known / trials) / noise;
  // The spread of an estimated deviation is 1/sqrt(2 * 4000) = 1.1 %; five of them, and 2 % for the rare
  // trial in which noise looks like a kink.
  EXPECT_NEAR(gain, std::sqrt(0.640625), 0.075 * gain);
  EXPECT_GT(unknown, 1.1 * known);
}

TEST(interpolation, few_samples_and_odd_input_are_decided) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const std::vector<double> none, one{2.0}, two{0.0, 1.0}, three{0, 1, 4}, flat{1, 1, 1, 1};
  EXPECT_TRUE(std::isnan(interpolated(none, 0, Interpolation::cubic)));
  EXPECT_EQ(interpolated(one, 0.5, Interpolation::quintic), 2.0);
  EXPECT_DOUBLE_EQ(interpolated(two, 0.25, Interpolation::cubic), 0.25);
  EXPECT_DOUBLE_EQ(interpolated(three, 1.5, Interpolation::cubic), 2.25);
  EXPECT_EQ(interpolated(two, -3, Interpolation::cubic), 0.0);
  EXPECT_EQ(interpolated(two, 7, Interpolation::cubic), 1.0);
  EXPECT_TRUE(std::isnan(interpolated(two, nan, Interpolation::cubic)));
  EXPECT_FALSE(find_crossing(flat, 1, 1, Interpolation::cubic).has_value());
  EXPECT_FALSE(find_crossing(two, 1, 0.5, Interpolation::cubic).has_value());
  EXPECT_FALSE(find_crossing(none, 0, 0.5, Interpolation::cubic).has_value());
  EXPECT_FALSE(find_crossing(two, 0, 1.5, Interpolation::cubic).has_value());
  EXPECT_FALSE(find_crossing(std::vector{0.0, nan}, 0, 0.5, Interpolation::linear).has_value());
  EXPECT_EQ(find_crossing(two, 0, 0, Interpolation::cubic)->position, 0.0);
  EXPECT_EQ(find_crossing(two, 0, 1, Interpolation::cubic)->position, 1.0);
  // A NaN beside the bracket is kept out of the stencil.
  const std::vector<double> holed{0, nan, 1, 2, 3, 4, 5};
  EXPECT_NEAR(find_crossing(holed, 2, 1.5, Interpolation::cubic)->position, 2.5, 1e-12);
  EXPECT_EQ(crossing_position(holed, 2, 1.5, Interpolation::cubic),
            find_crossing(holed, 2, 1.5, Interpolation::cubic)->position);
  EXPECT_FALSE(crossing_position(two, 0, 1.5, Interpolation::cubic).has_value());
}

TEST(interpolation, mirrored_and_scaled_samples_cross_at_mirrored_and_equal_positions) {
  const std::vector<double> values =
      test::sampled(double_exponential_edge(10).shape, 1, 40, 0.2e-9, -2.03e-9);
  std::vector<double> mirrored(values.rbegin(), values.rend()), scaled = values;
  for (double& value : scaled) value *= -1e-3;
  for (const Interpolation interpolation :
       {Interpolation::linear, Interpolation::cubic, Interpolation::quintic}) {
    for (std::size_t i = 0; i + 1 < values.size(); ++i) {
      const auto crossing = find_crossing(values, i, 0.45, interpolation);
      if (!crossing) continue;
      const auto back = find_crossing(mirrored, values.size() - 2 - i, 0.45, interpolation);
      const auto small = find_crossing(scaled, i, -0.45e-3, interpolation);
      EXPECT_NEAR(static_cast<double>(values.size() - 1) - back->position, crossing->position, 1e-12);
      EXPECT_NEAR(small->position, crossing->position, 1e-12);
    }
  }
}

}  // namespace
}  // namespace firstedge
