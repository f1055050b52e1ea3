// Closed forms of leading edge, constant fraction and delayed fraction on pulses without noise. Discriminator
// function of the delayed fraction: g(t) = f s(t) - s(t - d). Homes of the methods: G. F. Knoll, Radiation
// Detection and Measurement, ch. 17; H. Spieler, Semiconductor Detector Systems, ch. 4 (chapters from
// memory). The numbers are derived by algebra from the shapes named; times in ns from the start of the pulse
// unless said.
#include "support/timing_methods.hpp"

#include <array>
#include <cmath>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::constant;
using test::delayed;
using test::leading;
using test::noiseless_stamp;
using test::Shape;

constexpr double ns = 1e-9;
constexpr double ps = 1e-12;

/// A shape that rests at 0 until start_s, sampled every interval_s with its start at `phase` of an interval.
double time_from_start(const Shape& from_zero, double height_v, double interval_s, double phase,
                       const test::Method& method, std::size_t samples = 600) {
  const double start_s = (40 + phase) * interval_s;
  const Stamp stamp = noiseless_stamp([&](double t) { return from_zero(t - start_s); }, height_v, samples,
                                      interval_s, method);
  EXPECT_FALSE(stamp.flags.has(Flag::not_timed));
  return stamp.time_s - start_s;
}

// 6.1: t = tr Vth/A. tr = 2 ns, Vth = 0.05: A = 0.1 gives 1.0 ns, A = 1 gives 0.1 ns, walk 0.9 ns.
TEST(leading_edge_reference, linear_ramp_and_its_walk) {
  const Shape ramp = test::ramp(0, 2 * ns);
  for (const double phase : {0.0, 0.25, 0.5, 0.8}) {
    const double interval_s = 0.0125 * ns;
    const double low = time_from_start(ramp, 0.1, interval_s, phase, leading({.threshold_v = 0.05}));
    const double high = time_from_start(ramp, 1.0, interval_s, phase, leading({.threshold_v = 0.05}));
    // 1e-12 of the time, and the rounding of times of 3 ns from the trigger (4e-25 s): 1e-11 of 0.1 ns is it.
    EXPECT_NEAR(low, 1.0 * ns, 1e-12 * 2.5 * ns);
    EXPECT_NEAR(high, 0.1 * ns, 1e-12 * 2.5 * ns);
    EXPECT_NEAR(low - high, 0.9 * ns, 1e-12 * 2.5 * ns);
  }
}

// A ramp crosses fraction f of its height at f tr, whatever its height.
TEST(constant_fraction_reference, linear_ramp) {
  const Shape ramp = test::ramp(0, 2 * ns);
  for (const double fraction : {0.2, 0.3, 0.4, 0.5}) {
    for (const double phase : {0.0, 0.3, 0.7}) {
      for (const double height_v : {1e-3, 1.0, 1e3}) {
        EXPECT_NEAR(time_from_start(ramp, height_v, 0.1 * ns, phase, constant({.fraction = fraction})),
                    fraction * 2 * ns, 1e-12 * 6 * ns);
      }
    }
  }
}

// 6.2 true constant fraction, d >= tr (1 - f): t0 = d + f tr. tr = 2, d = 2, f = 0.2: 2.4.
// 6.3 compensated for height and rise time, d < tr (1 - f): t0 = d/(1 - f). d = 0.8, f = 0.2: 1.0 for tr > 1.
TEST(delayed_fraction_reference, linear_ramps) {
  const double interval_s = 0.1 * ns;
  for (const double phase : {0.0, 0.3, 0.7}) {
    EXPECT_NEAR(time_from_start(test::ramp(0, 2 * ns), 1, interval_s, phase,
                                delayed({.fraction = 0.2, .delay_s = 2 * ns})),
                2.4 * ns, 1e-12 * 10 * ns);
    for (const double rise : {1.5, 2.0, 5.0}) {
      for (const double height_v : {1e-3, 1.0, 1e3}) {
        EXPECT_NEAR(time_from_start(test::ramp(0, rise * ns), height_v, interval_s, phase,
                                    delayed({.fraction = 0.2, .delay_s = 0.8 * ns})),
                    1.0 * ns, 1e-12 * 10 * ns);
      }
    }
  }
}

// 6.8: a baseline offset b moves the compensated ramp to d/(1 - f) - b tr/A and the leading edge to
// (Vth - b) tr/A: the same size, b tr/A.
TEST(delayed_fraction_reference, a_baseline_offset_shifts_it_as_much_as_a_leading_edge) {
  constexpr double offset_v = 0.01, interval_s = 0.1 * ns, start_s = 4 * ns;
  const auto shifted = [](double t) { return test::ramp(start_s, 2 * ns)(t) + offset_v; };
  const auto time = [&](const test::Method& method) {
    const auto volts = test::sampled(shifted, 1, 300, interval_s);
    Pulse pulse;
    pulse.region = {30, 290};
    pulse.peak = 60;
    pulse.height_v = 1 + offset_v;
    return method(test::conditioned(volts, interval_s), pulse, white_noise(0, interval_s)).time_s - start_s;
  };
  EXPECT_NEAR(time(delayed({.fraction = 0.2, .delay_s = 0.8 * ns})), (1.0 - 0.02) * ns, 1e-12 * 6 * ns);
  EXPECT_NEAR(time(leading({.threshold_v = 0.5})), (1.0 - 0.02) * ns, 1e-12 * 6 * ns);
}

// 6.5: single-pole step, leading edge t = -tau ln(1 - Vth/A); delayed fraction tau ln((e^(d/tau) - f)/(1 -
// f)), tau = d = 1, f = 0.2: 1.14672040619305. 6.6: double exponential, tr = 1, td = 10, D = 0.8, f = 0.2:
// 0.922157573696753; peak 0.696837314413014. 6.7: Gaussian (from the undelayed peak), d = 2, f = 0.5:
// 0.653426409720; d = 1, f = 0.2: -1.109437912434.
TEST(delayed_fraction_reference, exponential_and_gaussian_pulses) {
  const double interval_s = 0.05 * ns;
  for (const double phase : {0.0, 0.3, 0.7}) {
    for (const Interpolation interpolation : {Interpolation::cubic, Interpolation::quintic}) {
      // Interpolation errors at h = 1/20: 3/128 h^4 g(4)/g' for the cubic and 5/1024 h^6 g(6)/g' for the
      // quintic. The Gaussian with d = 1 has the largest ratios, 4 and 25: 6e-7 ns and 2e-9 ns; and twice
      // that, since a delay between samples interpolates as well.
      const double tolerance = interpolation == Interpolation::cubic ? 1.2e-6 * ns : 4e-9 * ns;
      const auto time = [&](const Shape& shape, double fraction, double delay, double height_v = 1) {
        return time_from_start(
            shape, height_v, interval_s, phase,
            delayed({.fraction = fraction, .delay_s = delay * ns, .interpolation = interpolation}));
      };
      for (const double height_v : {1e-3, 1.0, 1e3}) {  // 6.8
        EXPECT_NEAR(time(test::rc_step(0, 1 * ns), 0.2, 1, height_v), 1.14672040619305 * ns, tolerance);
      }
      EXPECT_NEAR(time(test::double_exponential(0, 1 * ns, 10 * ns), 0.2, 0.8), 0.922157573696753 * ns,
                  tolerance);
      const Shape gaussian = test::gaussian(6 * ns, 1 * ns);
      EXPECT_NEAR(time(gaussian, 0.5, 2) - 6 * ns, 0.653426409720 * ns, tolerance);
      EXPECT_NEAR(time(gaussian, 0.2, 1) - 6 * ns, -1.109437912434 * ns, tolerance);
    }
  }
}

/// Closed-form edges of 0.9 ns from 10 % to 90 %: time of a fraction of the height, from the shape's zero.
struct Edge {
  std::string name;
  Shape shape;  ///< height 1
  std::function<double(double)> time_s;
  double first_fraction;  ///< from here on the bracket and the height are clear of the kink at the start
};

double solved(const Shape& shape, double fraction, double low, double high) {
  for (int i = 0; i < 100; ++i) {
    const double middle = 0.5 * (low + high);
    (shape(middle) < fraction ? low : high) = middle;
  }
  return low;
}

std::vector<Edge> edges() {
  // 6.5 and 3.4: t = -tau ln(1 - f), t10-90 = tau ln 9. 6.7: t = -s sqrt(2 ln(1/f)), t10-90 = 1.687 s.
  const double tau = 0.9 * ns / std::log(9.0);
  const double sigma = 0.9 * ns / (2.14596602629 - 0.45904360503);
  // 6.6: peak at tp = tr td/(td - tr) ln(td/tr), here 2.5584278811045 tr of height 0.696837314413014.
  const auto unit = test::double_exponential(0, 1, 10);
  const double tp = 2.5584278811045, peak = 0.696837314413014;
  const double rise = 0.9 * ns / (solved(unit, 0.9 * peak, 0, tp) - solved(unit, 0.1 * peak, 0, tp));
  return {
      {"RC step", test::rc_step(0, tau), [=](double f) { return -tau * std::log1p(-f); }, 0.5},
      {"Gaussian", test::gaussian(0, sigma), [=](double f) { return -sigma * std::sqrt(-2 * std::log(f)); },
       0.1},
      {"double exponential", [=](double t) { return unit(t / rise) / peak; },
       [=](double f) { return rise * solved(unit, f * peak, 0, tp); }, 0.3},
  };
}

// The exit criterion of the closed forms: within 0.1 ps at 20 samples an edge and within 2 ps at four.
TEST(closed_forms, leading_edge_and_constant_fraction_hold_at_twenty_and_at_four_samples_an_edge) {
  for (const Edge& edge : edges()) {
    for (const auto& [samples, tolerance] : {std::pair{20, 0.1 * ps}, {4, 2 * ps}}) {
      const double interval_s = 0.9 * ns / samples;
      for (double fraction = edge.first_fraction; fraction < 0.65; fraction += 0.1) {
        double worst_leading = 0, worst_constant = 0;
        for (int phase = 0; phase < 16; ++phase) {
          const double start_s = (60 + phase / 16.0) * interval_s;
          const Shape moved = [&](double t) { return edge.shape(t - start_s); };
          const double truth_s = start_s + edge.time_s(fraction);
          const auto error = [&](const test::Method& method) {
            return std::abs(noiseless_stamp(moved, 1, 1500, interval_s, method).time_s - truth_s);
          };
          worst_leading = std::max(worst_leading, error(leading({.threshold_v = fraction})));
          worst_constant = std::max(worst_constant, error(constant({.fraction = fraction})));
        }
        EXPECT_LT(worst_leading, tolerance) << edge.name << ' ' << fraction << ' ' << samples;
        EXPECT_LT(worst_constant, tolerance) << edge.name << ' ' << fraction << ' ' << samples;
      }
    }
  }
}

}  // namespace
}  // namespace firstedge
