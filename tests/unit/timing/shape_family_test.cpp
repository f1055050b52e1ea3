// Claims of shape families: found where shapes vary and only there, they take away the bias that a fixed
// template has and bring the spread back to the bound; odd pulses stand out.
#include "firstedge/timing/shape_family.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/timing/family_shape.hpp"
#include "firstedge/timing/shape_family_fit.hpp"

#include "support/small_matrix.hpp"
#include "support/tally.hpp"
#include "support/template_scenes.hpp"

#include <array>
#include <cmath>
#include <deque>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace test;  // scenes

constexpr std::size_t samples = 170;

/// Pulses whose rise slows with the depth at which they were made, from 0 to 1.
SmoothPulse pulse_of(double depth) {
  return SmoothPulse(0.3689044e-9, 0.15e-9 + 0.35e-9 * depth, 3e-9);
}

struct Made {
  double depth = 0, height_v = 1, half_s = 0;  // half_s: true instant of the half height
};

/// Ready shapes at 101 depths, so that a scene costs no search for peak and half height.
class Depths {
 public:
  Depths() {
    for (std::size_t i = 0; i <= 100; ++i) {
      pulses_.push_back(pulse_of(static_cast<double>(i) / 100));
      halves_.push_back(pulses_.back().time_of_fraction(0.5));
    }
  }
  double nearest(double depth) const { return std::round(100 * depth) / 100; }
  std::vector<double> volts(const Made& made) const {
    const auto at = static_cast<std::size_t>(std::lround(100 * made.depth));
    return sampled(smooth(pulses_[at], made.half_s - halves_[at]), made.height_v, samples, interval);
  }
  /// At fixed half height, by the depth.
  double change(double depth, double t_from_half_s) const {
    const auto at = static_cast<std::size_t>(std::clamp(std::lround(100 * depth), 1L, 99L));
    return (pulses_[at + 1](t_from_half_s + halves_[at + 1]) -
            pulses_[at - 1](t_from_half_s + halves_[at - 1])) /
           0.02;
  }
  double slope(double depth, double t_from_half_s) const {
    const auto at = static_cast<std::size_t>(std::lround(100 * depth));
    return pulses_[at].slope_per_s(t_from_half_s + halves_[at]);
  }
  double value(double depth, double t_from_half_s) const {
    const auto at = static_cast<std::size_t>(std::lround(100 * depth));
    return pulses_[at](t_from_half_s + halves_[at]);
  }

 private:
  std::vector<SmoothPulse> pulses_;
  std::vector<double> halves_;
};
const Depths& depths() {
  static const Depths made;
  return made;
}

/// The bound of the half-height instant with height, depth and baseline free.
double bound_s(const Made& made, double noise_v) {
  Matrix columns(4, std::vector<double>(samples, 1.0));
  for (std::size_t i = 0; i < samples; ++i) {
    const double t = static_cast<double>(i) * interval - made.half_s;
    columns[0][i] = -made.height_v * depths().slope(made.depth, t);
    columns[1][i] = depths().value(made.depth, t);
    columns[2][i] = made.height_v * depths().change(made.depth, t);
  }
  return bounds_in_white_noise(columns, noise_v)[0];
}

struct PulseRun {
  std::deque<ConditionedTrace> traces;
  std::vector<PulseInTrace> pulses;
  std::vector<Made> truth;
};
/// depth_of: from a number between 0 and 1 and the height.
template <class DepthOf>
PulseRun run_of(std::size_t pulses, std::uint64_t seed, double lowest_v, double noise_v, DepthOf depth_of) {
  const NoiseModel noise = white_noise(noise_v, interval);
  Random random(seed);
  PulseRun run;
  for (std::size_t i = 0; i < pulses; ++i) {
    Made made;
    made.height_v = lowest_v + (1 - lowest_v) * random.uniform(0, 1);
    made.depth = depths().nearest(depth_of(random.uniform(0, 1), made.height_v));
    made.half_s = 8e-9 + random.uniform(0, interval);
    std::vector<double> volts = depths().volts(made);
    random.add_white_noise(volts, noise_v);
    run.traces.push_back(conditioned(std::move(volts), interval));
    const auto found = find_pulses(run.traces.back(), noise, 50, {});
    if (found.size() != 1) continue;
    run.pulses.push_back({&run.traces.back(), found.front()});
    run.truth.push_back(made);
  }
  return run;
}
double any_depth(double random, double) {
  return random;
}

template <class Fit>
std::array<Tally, 5> tallies_of(const Fit& fit, const PulseRun& run, double noise_v,
                                double (*place)(const Made&)) {
  std::array<Tally, 5> tallies;
  for (std::size_t i = 0; i < run.pulses.size(); ++i) {
    const Stamp stamp = fit(*run.pulses[i].trace, run.pulses[i].pulse);
    if (stamp.flags.has(Flag::not_timed)) continue;
    const auto bin = std::min(static_cast<std::size_t>(5 * place(run.truth[i])), std::size_t{4});
    tallies[bin].add(stamp, run.truth[i].half_s, bound_s(run.truth[i], noise_v));
  }
  return tallies;
}
Tally all_of(const std::array<Tally, 5>& tallies) {
  Tally all;
  for (const Tally& one : tallies) all.add(one);
  return all;
}

ShapeFamily family_of(const PulseRun& run, const NoiseModel& noise) {
  return build_shape_family(build_template(run.pulses, noise), run.pulses, noise);
}

constexpr double bench_noise_v = 1.0 / 60;
const NoiseModel& bench_noise() {
  static const NoiseModel noise = white_noise(bench_noise_v, interval);
  return noise;
}
const ShapeFamily& bench_family() {
  static const PulseRun learning = run_of(1000, 1, 1, bench_noise_v, any_depth);
  static const ShapeFamily family = family_of(learning, bench_noise());
  return family;
}

TEST(shape_family, is_found_where_shapes_vary_and_only_there) {
  ASSERT_GE(bench_family().components.size(), 1U);
  EXPECT_GT(bench_family().components.front().significance, 20);
  const PulseRun same = run_of(600, 2, 0.3, bench_noise_v, [](double, double) { return 0.4; });
  EXPECT_TRUE(family_of(same, bench_noise()).components.empty());
}

TEST(shape_family, takes_away_the_bias_with_depth_and_brings_the_spread_to_the_bound) {
  const PulseRun judging = run_of(2000, 3, 1, bench_noise_v, any_depth);
  const auto by_depth = [](const Made& made) { return made.depth; };
  const auto plain =
      tallies_of(TemplateFit(bench_family().mean, bench_noise()), judging, bench_noise_v, by_depth);
  const auto own =
      tallies_of(ShapeFamilyFit(bench_family(), bench_noise()), judging, bench_noise_v, by_depth);
  EXPECT_GT(std::abs(plain.front().bias_s() - plain.back().bias_s()), 15 * ps);
  for (const Tally& bin : own) EXPECT_LT(std::abs(bin.bias_s()), 2 * ps + 3.5 * bin.bias_error_s());
  const Tally all = all_of(own);
  const auto n = static_cast<double>(all.count());
  EXPECT_EQ(all.count(), judging.pulses.size());
  EXPECT_LE(all.spread_s(), (1.05 + 3 / std::sqrt(2 * n)) * all.bound_s());
  EXPECT_NEAR(all.within_one(), 0.6827, 0.01 + 3.5 * std::sqrt(0.6827 * 0.3173 / n));
}

TEST(shape_family, takes_away_the_bias_of_shapes_that_go_with_the_height) {
  // Higher pulses rise faster, as from a sensor near saturation; 60 to 300 times the noise.
  constexpr double noise_v = 1.0 / 300;
  const NoiseModel noise = white_noise(noise_v, interval);
  const auto by_height = [](double random, double height) { return 0.9 * (1 - height) / 0.8 + 0.1 * random; };
  const PulseRun learning = run_of(700, 5, 0.2, noise_v, by_height);
  const ShapeFamily family = family_of(learning, noise);
  ASSERT_GE(family.components.size(), 1U);
  const PulseRun judging = run_of(2000, 6, 0.2, noise_v, by_height);
  const auto place = [](const Made& made) { return (made.height_v - 0.2) / 0.8; };
  const auto plain = tallies_of(TemplateFit(family.mean, noise), judging, noise_v, place);
  const auto own = tallies_of(ShapeFamilyFit(family, noise), judging, noise_v, place);
  EXPECT_GT(std::abs(plain.front().bias_s() - plain.back().bias_s()), 15 * ps);
  for (const Tally& bin : own) EXPECT_LT(std::abs(bin.bias_s()), 2 * ps + 3.5 * bin.bias_error_s());
}

TEST(shape_family, goodness_tells_odd_pulses_from_those_of_the_family) {
  const ShapeFamilyFit own(bench_family(), bench_noise());
  const TemplateFit plain(bench_family().mean, bench_noise(), {.find_hidden_pulses = false});
  const PulseRun sound = run_of(1500, 7, 1, bench_noise_v, any_depth);
  std::size_t sound_poor = 0, plain_poor = 0;
  for (const PulseInTrace& one : sound.pulses) {
    sound_poor += own(*one.trace, one.pulse).flags.has(Flag::poor_fit) ? 1 : 0;
    plain_poor += plain(*one.trace, one.pulse).flags.has(Flag::poor_fit) ? 1 : 0;
  }
  EXPECT_LE(sound_poor, 5U);   // 0.2 expected; what a line of shapes leaves of a curve adds a few
  EXPECT_GE(plain_poor, 40U);  // 5 % of them
  // Odd: a second pulse of a quarter of the height rides on the tail 2 ns later.
  Random random(8);
  std::size_t odd_poor = 0;
  constexpr std::size_t odd = 300;
  for (std::size_t i = 0; i < odd; ++i) {
    const double half = 8e-9 + random.uniform(0, interval);
    std::vector<double> volts = depths().volts({.depth = 0.5, .height_v = 1, .half_s = half});
    const std::vector<double> rider = depths().volts({.depth = 0.2, .height_v = 0.25, .half_s = half + 2e-9});
    for (std::size_t k = 0; k < volts.size(); ++k) volts[k] += rider[k];
    random.add_white_noise(volts, bench_noise_v);
    const ConditionedTrace trace = conditioned(std::move(volts), interval);
    odd_poor +=
        own(trace, find_pulses(trace, bench_noise(), 50, {}).front()).flags.has(Flag::poor_fit) ? 1 : 0;
  }
  EXPECT_GE(odd_poor, odd * 99 / 100);
}

TEST(shape_family, of_low_pulses_the_uncertainty_holds_by_the_population) {
  // 12 times the noise: the samples hardly tell the shape, the family's spread is what is known of it.
  constexpr double noise_v = 1.0 / 12;
  const NoiseModel noise = white_noise(noise_v, interval);
  const PulseRun judging = run_of(2000, 9, 1, noise_v, any_depth);
  const Tally all = all_of(tallies_of(ShapeFamilyFit(bench_family(), noise), judging, noise_v,
                                      [](const Made& made) { return made.depth; }));
  EXPECT_NEAR(all.within_one(), 0.683, 0.03);
  EXPECT_LT(all.spread_s(), all.bound_s());  // the bound with a free shape knows nothing of the population
}

TEST(shape_family_fit, of_one_shape_is_the_template_fit) {
  const ShapeFamily one{.mean = exact(), .components = {}};
  const ShapeFamilyFit family(one, bench_noise());
  const TemplateFit plain(exact(), bench_noise());
  ConditionedTrace trace = clean(10.03e-9, 1);
  Random(4).add_white_noise(trace.volts, bench_noise_v);
  const Pulse pulse = find_pulses(trace, bench_noise(), 50, {}).front();
  const Stamp a = family(trace, pulse);
  const Stamp b = plain(trace, pulse);
  EXPECT_NEAR(a.time_s, b.time_s, 1e-3 * b.uncertainty_s);  // steps end at 1e-4 of it
  EXPECT_NEAR(a.uncertainty_s / b.uncertainty_s, 1, 1e-3);
  EXPECT_NEAR(a.goodness, b.goodness, 1e-3);
  EXPECT_NEAR(a.height_v, b.height_v, 1e-4);
  EXPECT_EQ(a.flags, b.flags);
}

TEST(family_shape, reads_the_instants_of_a_member_off_its_own_curve) {
  // A component that moves the edge: the slope of the mean itself, so that the member is the mean moved by 20
  // ps.
  ShapeFamily family{.mean = exact(), .components = {{}}};
  const TemplateShape mean(family.mean);
  for (std::size_t i = 0; i < family.mean.shape.size(); ++i) {
    const double t = family.mean.first_s + static_cast<double>(i) * family.mean.interval_s;
    family.components[0].shape.push_back(-mean.slope_per_s(t) * 20 * ps);
  }
  const FamilyShape shape(family);
  const std::vector<double> one{1};
  // To first order; the second is half the curvature over the slope times (20 ps)^2, below 0.3 ps at half
  // height.
  EXPECT_NEAR(shape.instants(one).reference_s, 20 * ps, 0.3 * ps);
  EXPECT_NEAR(shape.instants(std::vector<double>{0}).reference_per_coefficient_s[0], 20 * ps, 0.01 * ps);
  EXPECT_NEAR(shape.instants(std::vector<double>{0}).reference_s, 0, 1e-3 * ps);
  EXPECT_NEAR(shape.instants(std::vector<double>{0}).peak, 1, 1e-9);
  family.components[0].shape.pop_back();
  EXPECT_THROW(FamilyShape{family}, Error);
  family.components[0].shape.push_back(NAN);
  EXPECT_THROW(FamilyShape{family}, Error);
}

}  // namespace
}  // namespace firstedge
