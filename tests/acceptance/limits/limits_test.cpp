// Where timing ends: overlapping pulses against their separation, clipped pulses against their overdrive; 5
// GS/s, an edge of 0.9 ns, white noise at signal-to-noise 60 (of the higher pulse, or of the limit), the
// template built from 1,000 single pulses. Prints its tables: ctest -R limits -V shows them.
#include "firstedge/timing/methods.hpp"
#include "firstedge/timing/template_building.hpp"
#include "firstedge/timing/template_shape.hpp"

#include "support/clipped_scenes.hpp"
#include "support/pile_up_scenes.hpp"

#include <cmath>
#include <cstdio>
#include <deque>
#include <memory>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace test;  // scenes

const NoiseModel& noise() {
  static const NoiseModel model = white_noise(1.0 / 60, interval);
  return model;
}

const PulseTemplate& learnt_template() {
  static const PulseTemplate made = [] {
    Random random(1);
    std::deque<ConditionedTrace> traces;
    std::vector<PulseInTrace> pulses;
    for (int i = 0; i < 1000; ++i) {
      traces.push_back(clean(10e-9 + random.uniform(0, interval), 1, 200));
      random.add_white_noise(traces.back().volts, 1.0 / 60);
      for (const Pulse& pulse : find_pulses(traces.back(), noise(), 50, {}))
        pulses.push_back({&traces.back(), pulse});
    }
    return build_template(pulses, noise());
  }();
  return made;
}

TimePulse method_of(const std::string& name, const std::string& option, double value) {
  Settings settings("limits");
  settings.set("method", name);
  if (!option.empty()) settings.set(option, value);
  const ChannelKnowledge knowledge{.noise = noise(),
                                   .pulse_template = std::make_shared<PulseTemplate>(learnt_template())};
  return
      [method = make_timing_method(settings, knowledge)](const ConditionedTrace& trace, const Pulse& pulse) {
        return method.time_pulses(trace, std::span(&pulse, 1)).front();
      };
}

void print_times(const Tally& times) {
  if (times.count() == 0) {
    std::printf("%10s %15s %8s %7s %7s", "-", "-", "-", "-", "-");
    return;
  }
  std::printf("%10.2f %7.2f +- %4.2f %8.3f %7.3f %7.3f", times.spread_s() * 1e12, times.bias_s() * 1e12,
              times.bias_error_s() * 1e12, times.spread_s() / times.bound_s(), times.within_one(),
              times.within_two());
}

double share(std::size_t count, std::size_t of) {
  return static_cast<double>(count) / static_cast<double>(of);
}

// What the times of this template share, since it was built from so many pulses: the part of their
// uncertainty that the template's own makes. 3.5 of it: one template in 2,000 is further off.
double shared_s(const ConditionedTrace& trace) {
  PulseTemplate sure = learnt_template();
  sure.shape_uncertainty.assign(sure.shape.size(), 0.0);
  const Pulse pulse = find_pulses(trace, noise(), 50, {}).front();
  const double whole_s = TemplateFit(learnt_template(), noise())(trace, pulse).uncertainty_s;
  const double noise_s = TemplateFit(sure, noise())(trace, pulse).uncertainty_s;
  return 3.5 * std::sqrt(whole_s * whole_s - noise_s * noise_s);
}

TEST(limits, overlapping_pulses_are_timed_at_the_bound_down_to_one_rise_time) {
  constexpr std::size_t scenes = 600;
  const TemplateFit fit(learnt_template(), noise());
  const double single_s = shared_s(clean(10.05e-9, 1));
  std::printf(
      "Overlapping pulses, template fit, %zu scenes a row; separation in rise times (10 %% to 90 %%)\n",
      scenes);
  std::printf("%-9s %5s %6s %6s %6s %6s %10s %15s %8s %7s %7s\n", "heights", "sep", "apart", "flag", "silent",
              "pulse", "spread/ps", "bias/ps", "/ bound", "in 1 u", "in 2 u");
  Tally resolved;
  double ratios = 0, rows = 0;
  std::uint64_t seed = 100;
  for (const auto& [name, first, second] :
       {std::tuple{"1:1", 1.0, 1.0}, {"3:1", 1.0, 1.0 / 3}, {"1:3", 1.0 / 3, 1.0}}) {
    for (const double separation : {0.5, 0.7, 0.85, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0}) {
      const PileUpOutcome row = outcome_of({.separation_s = separation * pulse_shape().transition_s(),
                                            .first_v = first,
                                            .second_v = second,
                                            .seed = ++seed},
                                           scenes, fit, noise());
      for (std::size_t k = 0; k < 2; ++k) {
        std::printf("%-9s %5.2f %6.3f %6.3f %6.3f %6zu ", name, separation, share(row.told_apart, scenes),
                    share(row.flagged, scenes), share(row.silent, scenes), k + 1);
        print_times(row.told_apart >= scenes / 20 ? row.pulses[k] : Tally());
        std::printf("\n");
      }
      if (separation < 1) continue;
      EXPECT_EQ(row.silent, 0U) << name << " at " << separation;
      EXPECT_GE(row.told_apart, scenes - 3) << name << " at " << separation;  // see pile_up_test.cpp
      for (const Tally& pulse : row.pulses) {
        // 36 such comparisons: 4.5 standard errors, 7e-6 each, are exceeded in 1 of 4,000 cases.
        EXPECT_LT(std::abs(pulse.bias_s()), 4.5 * pulse.bias_error_s() + single_s) << name << separation;
        EXPECT_LE(pulse.spread_s() / pulse.bound_s(), 1.05 + 4.5 / std::sqrt(2.0 * scenes))
            << name << separation;
        resolved.add(pulse);
        ratios += pulse.spread_s() / pulse.bound_s();
        rows += 1;
      }
    }
  }
  EXPECT_LE(ratios / rows, 1.05);
  // 21,600 times: 0.32 % is one standard error of a share of 68.3 %, 0.14 % of 95.4 %.
  EXPECT_NEAR(resolved.within_one(), 0.6827, 0.0105);
  EXPECT_NEAR(resolved.within_two(), 0.9545, 0.005);
}

TEST(limits, clipped_pulses_are_timed_at_the_bound_up_to_four_times_full_scale) {
  constexpr std::size_t scenes = 1500;
  struct Row {
    const char* name;
    double fraction_of_limit;  // 0: the method has its own fraction of the height
    double fraction;
    TimePulse method;
  };
  const std::vector<Row> methods{
      {"template_fit", 0, 0.5, method_of("template_fit", "", 0)},
      {"leading_edge 0.3 limit", 0.3, 0, method_of("leading_edge", "threshold", 0.3)},
      {"constant_fraction 0.1", 0, 0.1, method_of("constant_fraction", "fraction", 0.1)},
      {"constant_fraction 0.5", 0, 0.5, method_of("constant_fraction", "fraction", 0.5)}};
  std::printf("Clipped pulses, %zu scenes a row; overdrive = height over the limit\n", scenes);
  std::printf("%-24s %6s %7s %6s %10s %15s %8s %7s %7s\n", "method", "drive", "timed", "flag", "spread/ps",
              "bias/ps", "/ bound", "in 1 u", "in 2 u");
  for (const Row& method : methods) {
    Tally all;
    std::uint64_t seed = 300;
    for (const double overdrive : {1.0, 1.2, 1.5, 2.0, 3.0, 4.0}) {
      const double fraction =
          method.fraction_of_limit > 0 ? method.fraction_of_limit / overdrive : method.fraction;
      const ClippedOutcome row =
          outcome_of({.overdrive = overdrive, .seed = ++seed}, scenes, noise(), fraction, method.method);
      const std::size_t timed = row.times.count();
      std::printf("%-24s %6.2f %7.3f %6.3f ", method.name, overdrive, share(timed, scenes),
                  timed > 0 ? share(row.flagged, timed) : 0.0);
      print_times(row.times);
      std::printf("\n");
      all.add(row.times);
      if (&method != &methods.front()) continue;
      EXPECT_EQ(row.untimed, 0U) << overdrive;
      // 6 comparisons: 4 standard errors, 6e-5 each.
      EXPECT_LT(std::abs(row.times.bias_s()),
                4 * row.times.bias_error_s() + shared_s(clipped_at(clean(10.05e-9, overdrive), 1)))
          << overdrive;
      EXPECT_LE(row.times.spread_s() / row.times.bound_s(), 1.05 + 4 / std::sqrt(2.0 * scenes)) << overdrive;
    }
    if (&method == &methods.front()) {
      // 9,000 times: 0.49 % is one standard error of a share of 68.3 %, 0.22 % of 95.4 %.
      EXPECT_NEAR(all.within_one(), 0.6827, 0.0165);
      EXPECT_NEAR(all.within_two(), 0.9545, 0.0075);
    }
  }
}

}  // namespace
}  // namespace firstedge
