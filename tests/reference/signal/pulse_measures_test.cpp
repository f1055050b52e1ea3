// Pulse measures against the closed forms of known responses. The definitions are those of IEEE Std 181-2011
// (from memory); no published worked example carries its samples, so the waveforms are constructed and their
// numbers derived; where a textbook prints one, it is named.
#include "firstedge/signal/pulse_measures.hpp"

#include "firstedge/signal/filter.hpp"
#include "firstedge/signal/noise.hpp"

#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using std::numbers::pi;

constexpr PulseMeasureOptions known_states{.histogram_bins = 100, .states_v = std::pair{0.0, 1.0}};
constexpr PulseMeasureOptions from_20_to_80{
    .lower_percent = 20, .upper_percent = 80, .states_v = std::pair{0.0, 1.0}};

/// A response to a unit step at time 0, sampled from a little before it.
struct Sampled {
  std::vector<double> volts;
  double interval_s;
  double first_s;
  PulseMeasures measures(const PulseMeasureOptions& options = known_states) const {
    return measure_pulse(volts, interval_s, options);
  }
};

Sampled sampled(const std::function<double(double)>& response, double from, double to, double interval) {
  Sampled all{.volts = {}, .interval_s = interval, .first_s = from};
  const auto samples = static_cast<std::size_t>(std::lround((to - from) / interval)) + 1;
  for (std::size_t i = 0; i < samples; ++i)
    all.volts.push_back(response(from + static_cast<double>(i) * interval));
  return all;
}

// h = 1e-3 time constants: linear interpolation is wrong by h^2/8 |v''/v'|, at most 1.3e-7 for v''/v' = -1.
constexpr double fine = 1e-3;
constexpr double fine_error = 4e-7;

TEST(pulse_reference, a_trapezoid_has_its_corners_measures) {
  // Derived: edges of 10 ns up and 20 ns down (0 % to 100 %), flat for 30 ns, height 1; exact under linear
  // interpolation when the samples meet the corners.
  const auto trapezoid = [](double t) {
    if (t < 0 || t > 60) return 0.0;
    if (t < 10) return t / 10;
    return t <= 40 ? 1.0 : (60 - t) / 20;
  };
  for (const double interval : {0.5, 1.0, 2.5}) {
    for (const int sign : {1, -1}) {
      const Sampled pulse = sampled([&](double t) { return 0.25 + sign * trapezoid(t); }, -20, 80, interval);
      const PulseMeasures measures = pulse.measures({});
      EXPECT_EQ(measures.polarity, sign);
      EXPECT_NEAR(measures.amplitude_v, 1, 1e-12);
      EXPECT_NEAR(measures.low_state_v, sign > 0 ? 0.25 : -0.75, 1e-12);
      EXPECT_NEAR(measures.transition_duration_s, 8, 1e-9);
      EXPECT_NEAR(measures.second_transition_duration_s, 16, 1e-9);
      EXPECT_NEAR(measures.instant_middle_s, 20 + 5, 1e-9);
      EXPECT_NEAR(measures.instant_middle_s + measures.pulse_duration_s, 20 + 50, 1e-9);
      EXPECT_NEAR(measures.pulse_duration_s, 45, 1e-9);
      EXPECT_NEAR(measures.overshoot_percent, 0, 1e-9);
      EXPECT_NEAR(measures.slew_v_per_s, 0.1, 1e-9);
    }
  }
}

TEST(pulse_reference, a_single_pole_has_its_reference_instants) {
  const PulseMeasures measures =
      sampled([](double t) { return t < 0 ? 0 : -std::expm1(-t); }, -1, 30, fine).measures();
  // -ln(1 - f), closed form.
  EXPECT_NEAR(measures.instant_lower_s - 1, 0.105360515658, fine_error);
  EXPECT_NEAR(measures.instant_middle_s - 1, 0.693147180560, fine_error);
  EXPECT_NEAR(measures.instant_upper_s - 1, 2.30258509299, fine_error);
  // ln 9; printed as 2.2 tau in H. Spieler, lecture V.5 (1998).
  EXPECT_NEAR(measures.transition_duration_s, 2.19722457734, fine_error);
  EXPECT_TRUE(std::isnan(measures.pulse_duration_s));
  const PulseMeasures shorter =
      sampled([](double t) { return t < 0 ? 0 : -std::expm1(-t); }, -1, 30, fine).measures(from_20_to_80);
  EXPECT_NEAR(shorter.instant_lower_s - 1, 0.223143551314, fine_error);
  EXPECT_NEAR(shorter.transition_duration_s, 1.38629436112, fine_error);  // ln 4
}

TEST(pulse_reference, its_states_are_found_by_the_histogram_too) {
  const PulseMeasures measures =
      sampled([](double t) { return t < 0 ? 0 : -std::expm1(-t); }, -10, 30, fine).measures({});
  // The high state is the mean of the top bin, from 0.99 on: of 25.4 time constants there, the exponential
  // takes 0.01/25.4 = 4e-4 away; the instants move by as much over a slope of 0.1 to 1.
  // Of 10 000 samples in the bottom bin, the first 10 of the edge are 0.005 high on average.
  EXPECT_NEAR(measures.low_state_v, 0, 6e-6);
  EXPECT_NEAR(measures.high_state_v, 1, 4.5e-4);
  EXPECT_NEAR(measures.transition_duration_s, 2.19722457734, 4e-3);
}

TEST(pulse_reference, a_gaussian_response_has_its_transition_duration) {
  const PulseMeasures measures =
      sampled([](double t) { return 0.5 * std::erfc(-t / std::numbers::sqrt2); }, -8, 8, fine).measures();
  EXPECT_NEAR(measures.transition_duration_s, 2.56310313109, fine_error);  // 2 * probit(0.9), closed form
  EXPECT_NEAR(measures.instant_middle_s, 8, fine_error);
  EXPECT_NEAR(sampled([](double t) { return 0.5 * std::erfc(-t / std::numbers::sqrt2); }, -8, 8, fine)
                  .measures(from_20_to_80)
                  .transition_duration_s,
              1.68324246715, fine_error);  // 2 * probit(0.8), closed form
  const PulseMeasures pulse =
      sampled([](double t) { return std::exp(-0.5 * t * t); }, -8, 8, fine).measures();
  EXPECT_NEAR(pulse.pulse_duration_s, 2.35482004503, 2 * fine_error);  // 2 sqrt(2 ln 2), closed form
}

TEST(pulse_reference, two_equal_poles_do_not_add_in_quadrature) {
  // 1 - (1 + t) exp(-t): derived, where the quadrature rule would give sqrt(2) ln 9 = 3.107344797.
  const PulseMeasures measures =
      sampled([](double t) { return t < 0 ? 0 : 1 - (1 + t) * std::exp(-t); }, -1, 40, fine).measures();
  EXPECT_NEAR(measures.instant_lower_s - 1, 0.5318116084, fine_error);
  EXPECT_NEAR(measures.instant_middle_s - 1, 1.67834699, fine_error);
  EXPECT_NEAR(measures.instant_upper_s - 1, 3.88972017, fine_error);
  EXPECT_NEAR(measures.transition_duration_s, 3.357908561, 2 * fine_error);
}

TEST(pulse_reference, a_second_order_step_has_its_overshoot_and_instants) {
  struct Row {
    double damping, overshoot, peak_at, at_10, at_50, at_90, duration;
  };
  // Derived: overshoot 100 exp(-pi z/sqrt(1 - z^2)) at w t = pi/sqrt(1 - z^2); instants w t by root finding
  // on the closed response.
  for (const Row& row :
       {Row{0.2, 52.66206, 3.2063746, 0.4652119207, 1.133266541, 1.668641822, 1.203429901},
        Row{0.5, 16.303353, 3.6275987, 0.4882292958, 1.294039462, 2.125802243, 1.637572947}}) {
    const double z = row.damping, ringing = std::sqrt(1 - z * z);
    const auto response = [&](double t) {
      if (t < 0) return 0.0;
      return 1 - std::exp(-z * t) * (std::cos(ringing * t) + z / ringing * std::sin(ringing * t));
    };
    const PulseMeasures measures = sampled(response, -1, 60, fine).measures();
    // The peak between samples: 1/2 v'' (h/2)^2 = 1e-7 of the height, 1e-5 per cent; printed to 1e-5 too.
    EXPECT_NEAR(measures.overshoot_percent, row.overshoot, 3e-5);
    EXPECT_NEAR(measures.instant_lower_s - 1, row.at_10, fine_error);
    EXPECT_NEAR(measures.instant_middle_s - 1, row.at_50, fine_error);
    EXPECT_NEAR(measures.instant_upper_s - 1, row.at_90, fine_error);
    EXPECT_NEAR(measures.transition_duration_s, row.duration, 2 * fine_error);
    EXPECT_NEAR(100 * (response(row.peak_at) - 1), row.overshoot, 1e-5);  // printed digits of the overshoot
  }
  // z = 1/sqrt(2): the Butterworth of second order overshoots by exp(-pi) = 4.3213918 %.
  const auto butterworth = [](double t) {
    const double u = t / std::numbers::sqrt2;
    return t < 0 ? 0 : 1 - std::exp(-u) * (std::cos(u) + std::sin(u));
  };
  EXPECT_NEAR(sampled(butterworth, -1, 60, fine).measures().overshoot_percent, 4.3213918, 3e-5);
  EXPECT_NEAR(100 * (butterworth(4.4428829) - 1), 4.3213918, 1e-7);
}

/// The 10-90 % duration of a filter's step response times the frequency at which its gain is 1/sqrt(2).
double duration_times_bandwidth(const std::vector<FilterOptions>& filters, double interval,
                                std::size_t samples) {
  std::vector<double> volts(samples, 0.0);
  for (std::size_t i = samples / 3; i < samples; ++i) volts[i] = 1;
  const auto gain = [&](double frequency) {
    double product = 1;
    for (const FilterOptions& options : filters) product *= Filter(options, interval).gain(frequency);
    return product;
  };
  for (const FilterOptions& options : filters) volts = Filter(options, interval)(volts).volts;
  double low = 0, high = 0.1 / interval;
  for (int i = 0; i < 60; ++i) (gain(0.5 * (low + high)) > std::sqrt(0.5) ? low : high) = 0.5 * (low + high);
  return measure_pulse(volts, interval, known_states).transition_duration_s * low;
}

TEST(pulse_reference, durations_and_bandwidths_have_their_textbook_products) {
  // ln 9/(2 pi) = 0.349699152566; printed as 0.35 in H. Spieler, lecture V.5 (1998).
  const FilterOptions pole{.order = 1, .high_hz = 1.0, .zero_phase = false};
  // 1/(2 pi) = 0.16 s over 1 ms: the bilinear transform and a step between two samples cost (h/tau)^2/4 =
  // 1e-5 and h/tau * 1e-3.
  EXPECT_NEAR(duration_times_bandwidth({pole}, 1e-3, 6000), 0.349699152566, 2e-5);
  // Two equal poles: 0.3439546 (derived).
  EXPECT_NEAR(duration_times_bandwidth({pole, pole}, 1e-3, 9000), 0.3439546, 2e-5);
  // Their 3 dB bandwidth, of a pole at 1/(2 pi): 0.1024312067 (derived); 2e-8 for the bilinear transform.
  const FilterOptions slow_pole{.order = 1, .high_hz = 1 / (2 * pi), .zero_phase = false};
  EXPECT_NEAR(std::pow(Filter(slow_pole, 1e-3).gain(0.1024312067), 2), std::sqrt(0.5), 5e-8);
  // Gaussian: 0.339624446254 (derived), often printed as 0.339 or 0.34. Sampled steps are wider by h^2/24.
  const FilterOptions gaussian{.kind = FilterOptions::Kind::gaussian, .width_s = 1.0};
  EXPECT_NEAR(duration_times_bandwidth({gaussian}, 5e-3, 6000), 0.339624446254, 2e-5);
  // 3 dB bandwidth times the deviation of the impulse response: 0.13250518176 (derived).
  EXPECT_NEAR(Filter(gaussian, 5e-3).gain(0.13250518176), std::sqrt(0.5), 1e-7);
}

}  // namespace
}  // namespace firstedge
