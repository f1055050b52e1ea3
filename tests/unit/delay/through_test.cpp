// Claims of the delay through a line: truth within the stated uncertainty, for the fit, the correlation and
// each method after its correction; group delay and attenuation as the closed form has them.
#include "firstedge/delay/through.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/skin_line.hpp"

#include "support/line_measurements.hpp"
#include "support/random.hpp"
#include "support/result_parts.hpp"

#include <cmath>

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

TimingMethod method_of(const char* name, const NoiseModel& noise, double fraction) {
  Settings settings("test");
  settings.set("method", name);
  if (fraction > 0) settings.set("fraction", fraction);
  return make_timing_method(settings, {.noise = noise});
}

double first_time_s(const TimingMethod& method, const Trace& trace, const NoiseModel& noise) {
  ConditioningOptions options;
  options.baseline.window_s = {trace.first_sample_s, -2e-9};
  const ConditionedTrace conditioned = condition(trace, options);
  const std::vector<Pulse> pulses = find_pulses(conditioned, noise, 50, {});
  if (pulses.empty()) return std::nan("");
  const Stamp stamp = method.time_pulses(conditioned, pulses).front();
  return stamp.flags.empty() ? stamp.time_s : std::nan("");
}

/// Records of a plan with a channel before and one after, with a constant fraction of 0.3 and a leading edge.
ThroughData measured(const SimulationPlan& plan, std::size_t records) {
  const AverageHead before = test::head_of(plan, 0), after = test::head_of(plan, 1);
  ThroughData data{.average = PairAverage(before, after, plan.samples)};
  data.methods = {{"constant_fraction",
                   method_of("constant_fraction", before.noise, 0.3),
                   method_of("constant_fraction", after.noise, 0.3),
                   {}},
                  {"leading_edge",
                   method_of("leading_edge", before.noise, 0),
                   method_of("leading_edge", after.noise, 0),
                   {}}};
  const double spread_s = plan.passage_s.second - plan.passage_s.first;
  data.blur_s = spread_s / std::sqrt(12.0);
  const Simulation simulation(plan);
  for (const Record& record : simulation.records(0, records).block.records) {
    data.average.add(test::conditioned_volts(record.traces[0]), test::conditioned_volts(record.traces[1]));
    for (ThroughMethod& method : data.methods)
      method.difference_s.push_back(first_time_s(method.after, record.traces[1], after.noise) -
                                    first_time_s(method.before, record.traces[0], before.noise));
  }
  return data;
}

// How many standard uncertainties hold 95.45 % with these degrees of freedom (JCGM 100:2008, G.3): 2 for
// many.
double coverage_factor(const Estimate& estimate) {
  if (std::isinf(estimate.degrees_of_freedom)) return 2;
  return boost::math::quantile(boost::math::students_t(estimate.degrees_of_freedom), 0.97725);
}

TEST(through, two_hundred_lossy_lines_are_found_within_two_uncertainties) {
  test::Random random(20261125);
  constexpr int trials = 200;
  std::vector<int> within(4);
  int loss_within = 0;
  for (int i = 0; i < trials; ++i) {
    const LinePlan line{.delay_s = random.uniform(5e-9, 35e-9), .skin_s = random.uniform(0.02e-9, 0.3e-9)};
    const ThroughDelay found =
        through_delay(measured(test::through_plan(static_cast<std::uint64_t>(i), 400, line), 8));
    // The bulk delay by the fit (k = 2), then by correlation and by each method after its correction.
    EXPECT_TRUE(std::isinf(found.bulk_delay_s.degrees_of_freedom));
    std::vector<Estimate> all{found.bulk_delay_s};
    for (const WayOfReading& way : found.ways) all.push_back(way.corrected_s);
    ASSERT_EQ(all.size(), within.size());
    for (std::size_t w = 0; w < all.size(); ++w) {
      const double allowed = coverage_factor(all[w]) * all[w].uncertainty;
      within[w] += std::abs(all[w].value - line.delay_s) <= allowed ? 1 : 0;
    }
    const Estimate& loss = found.loss_constant;
    loss_within += std::abs(loss.value - std::sqrt(line.skin_s)) <= 2 * loss.uncertainty ? 1 : 0;
  }
  RecordProperty("bulk_delay_within", within[0]);
  RecordProperty("loss_within", loss_within);
  for (std::size_t w = 1; w < within.size(); ++w)
    RecordProperty("way_within_" + std::to_string(w), within[w]);
  // 95 % of 200, as it was asked for. Seeds are fixed.
  EXPECT_GE(within[0], 190);
  EXPECT_GE(loss_within, 190);
  // Corrected values: fewer than 181 of 200 come up once in 1,000 where 95.45 % are within.
  for (std::size_t w = 1; w < within.size(); ++w) EXPECT_GE(within[w], 181) << w;
}

TEST(through, group_delay_and_attenuation_are_those_of_the_closed_form) {
  const LinePlan line{.delay_s = 20e-9, .skin_s = 0.1e-9};
  const ThroughDelay found = through_delay(measured(test::through_plan(11, 500, line), 64));
  const SkinLine closed{line.delay_s, std::sqrt(line.skin_s)};
  ASSERT_GE(found.bands.size(), 8U);
  double squares = 0;
  for (const TransferBand& band : found.bands) {
    const double delay_pull =
        (band.group_delay_s.value - closed.group_delay_s(band.frequency_hz)) / band.group_delay_s.uncertainty;
    const double loss_pull = (band.attenuation_db.value - closed.attenuation_db(band.frequency_hz)) /
                             band.attenuation_db.uncertainty;
    squares += delay_pull * delay_pull + loss_pull * loss_pull;
    // Within 5 % of the delay's loss part and its noise: a wrong factor in either does not pass.
    EXPECT_LT(band.group_delay_s.uncertainty, 0.1e-9);
  }
  // Chi-square of 2 figures a band: above its 99.9 % quantile once in 1,000.
  const double freedom = 2 * static_cast<double>(found.bands.size());
  EXPECT_LT(squares, boost::math::quantile(boost::math::chi_squared(freedom), 0.999));
  EXPECT_GT(squares, boost::math::quantile(boost::math::chi_squared(freedom), 0.001));
}

TEST(through, every_way_reads_more_than_the_bulk_delay_of_a_lossy_line_and_the_page_says_why) {
  const LinePlan line{.delay_s = 20e-9, .skin_s = 0.3e-9};
  const Result result = analyse_through(measured(test::through_plan(3, 500, line), 16));
  const Table& ways = test::table_of(result, "ways");
  ASSERT_EQ(ways.rows.size(), 4U);
  for (std::size_t row = 0; row + 1 < ways.rows.size(); ++row) {
    const Estimate correction = test::cell_of(ways, row, "correction");
    EXPECT_GT(correction.value, 5 * correction.uncertainty) << row;
  }
  EXPECT_FALSE(ways.note.empty());
  EXPECT_NEAR(test::figure_of(result, "bulk_delay").value, 20e-9,
              4 * test::figure_of(result, "bulk_delay").uncertainty);
}

TEST(through, a_slow_filter_is_told_to_be_no_skin_effect_line) {
  SimulationPlan plan = test::through_plan(5, 500, {.delay_s = 10e-9, .skin_s = 0}, 0.2e-3);
  plan.channels[1].shape.low_cut_hz = 20e6;
  const Result result = analyse_through(measured(plan, 16));
  EXPECT_GT(test::figure_of(result, "misfit").value, 3);
  ASSERT_FALSE(result.warnings.empty());
  EXPECT_NE(result.warnings[0].find("does not describe"), std::string::npos) << result.warnings[0];
}

TEST(through, no_records_and_no_pulse_are_refused) {
  const SimulationPlan plan = test::through_plan(5, 400, {.delay_s = 10e-9, .skin_s = 0});
  EXPECT_THROW(through_delay({.average = PairAverage(test::head_of(plan, 0), test::head_of(plan, 1), 400)}),
               Error);
  PairAverage silent(test::head_of(plan, 0), test::head_of(plan, 1), 400);
  const Simulation simulation(plan);
  test::Random random(2);
  for (const Record& record : simulation.records(0, 8).block.records) {
    std::vector<double> noise(400, 0.0);
    random.add_white_noise(noise, 1e-3);
    silent.add(test::conditioned_volts(record.traces[0]), noise);
  }
  EXPECT_THROW(through_delay({.average = silent}), Error);
  AverageHead other = test::head_of(plan, 1);
  other.interval_s *= 2;
  EXPECT_THROW(PairAverage(test::head_of(plan, 0), other, 400), Error);
}

}  // namespace
}  // namespace firstedge
