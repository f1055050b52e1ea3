// Claims of the chain room: which calibration holds, what a delay rests on, what cancels between two
// channels, and that delays come back.
#include "firstedge/chain/chain.hpp"

#include "firstedge/chain/calibration_choice.hpp"
#include "firstedge/core/error.hpp"

#include "support/random.hpp"
#include "support/sentence_of.hpp"

#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

Instant at(const std::string& text) {
  return parse_instant(text, TimeScale::utc, "test");
}

Element simple(const std::string& name, double delay_s, double uncertainty_s) {
  Calibration calibration;
  calibration.delay_s = {delay_s, uncertainty_s};
  return {.name = name, .calibrations = {calibration}};
}

// Two calibrations with a month between them.
Element recalibrated() {
  Calibration first, second;
  first.delay_s = {48.0e-9, 30e-12};
  first.valid_until = at("2026-06-01T00:00:00Z");
  second.delay_s = {48.2e-9, 20e-12};
  second.valid_from = at("2026-07-01T00:00:00Z");
  second.valid_until = at("2027-07-01T00:00:00Z");
  return {.name = "cable", .calibrations = {first, second}};
}

TEST(calibration_choice, the_one_valid_at_the_date_and_the_nearest_where_none_is) {
  const Element cable = recalibrated();
  const auto chosen = [&](const std::string& date) { return choose_calibration(cable, at(date)); };
  EXPECT_EQ(chosen("2020-01-01T00:00:00Z").standing, Standing::valid) << "no beginning: from ever";
  EXPECT_EQ(chosen("2026-05-31T23:59:59.999Z").index, 0U);
  EXPECT_EQ(chosen("2026-06-01T00:00:00Z").standing, Standing::expired) << "the end itself is outside";
  EXPECT_EQ(chosen("2026-06-15T00:00:00Z").index, 0U);
  EXPECT_EQ(chosen("2026-07-01T00:00:00Z").standing, Standing::valid) << "the beginning is inside";
  EXPECT_EQ(chosen("2026-07-01T00:00:00Z").index, 1U);
  EXPECT_EQ(chosen("2027-07-01T00:00:00Z").standing, Standing::expired);
  EXPECT_EQ(chosen("2027-07-01T00:00:00Z").index, 1U);
  EXPECT_EQ(choose_calibration(cable, std::nullopt).standing, Standing::date_unknown);
  EXPECT_EQ(choose_calibration(simple("a", 0, 0), std::nullopt).standing, Standing::valid);
  Element later = recalibrated();
  later.calibrations.erase(later.calibrations.begin());
  EXPECT_EQ(choose_calibration(later, at("2026-01-01T00:00:00Z")).standing, Standing::not_yet_valid);
}

Station two_channels() {
  return {.name = "",
          .elements = {simple("sensor A", 1.5e-9, 10e-12), simple("sensor B", 1.6e-9, 24e-12),
                       simple("long cable", 480e-9, 100e-12), simple("unused", 3.1e-9, 5e-12)},
          .chains = {{"A", {"sensor A", "long cable"}}, {"B", {"sensor B", "long cable"}}},
          .temperature_c = std::nullopt};
}

TEST(chain_delay, is_the_sum_of_its_elements) {
  const Station station = two_channels();
  const ChainDelay delay = chain_delay(station.chains[0], station, std::nullopt);
  EXPECT_NEAR(delay.delay_s, 481.5e-9, 1e-22);  // two roundings of 481.5 ns
  EXPECT_EQ(delay.terms.size(), 2U);
  EXPECT_TRUE(delay.doubts.empty());
  EXPECT_THAT(test::sentence_of([&] {
                chain_delay({"A", {"nothing"}}, station, std::nullopt);
              }),
              HasSubstr("'nothing' is not in the list"));
}

TEST(delay_budget, a_cable_that_two_channels_share_cancels_in_their_difference) {
  const Station station = two_channels();
  const DelayPlan plan = plan_delays({"A", "B"}, station, {}, ExpiredPolicy::refuse);
  const DelayBudget difference = delay_budget("A less B", plan.delays[0].delay_s - plan.delays[1].delay_s,
                                              difference_of(plan.delays[0].terms, plan.delays[1].terms));
  // sqrt(10^2 + 24^2) = 26: the 100 ps of the long cable are not in it.
  EXPECT_NEAR(difference.total_s.uncertainty, 26e-12, 1e-22);
  EXPECT_NEAR(difference.total_s.value, -0.1e-9, 1e-21);
  EXPECT_EQ(difference.rows.front().term.name, "sensor B");
  EXPECT_NEAR(difference.rows.front().share, 576.0 / 676, 1e-12);
  EXPECT_NEAR(difference.rows.front().known_exactly_s, 10e-12, 1e-20);
  EXPECT_EQ(difference.rows.back().term.name, "long cable");
  EXPECT_EQ(difference.rows.back().contribution_s, 0);
  // Alone it leads.
  const DelayBudget alone = delay_budget("A", plan.delays[0].delay_s, plan.delays[0].terms);
  EXPECT_EQ(alone.rows.front().term.name, "long cable");
  EXPECT_NEAR(alone.total_s.uncertainty, std::hypot(100e-12, 10e-12), 1e-22);
  EXPECT_THAT(remeasure_first(alone), HasSubstr("'long cable'"));
}

TEST(delay_budget, things_of_one_name_with_other_figures_do_not_cancel) {
  const std::vector<DelayTerm> one{{.name = "cable", .input = {48e-9, 30e-12}}};
  const std::vector<DelayTerm> other{{.name = "cable", .input = {48e-9, 40e-12}}};
  const DelayBudget difference = delay_budget("d", 0, difference_of(one, other));
  EXPECT_NEAR(difference.total_s.uncertainty, 50e-12, 1e-22);
}

TEST(delay_budget, law_and_draws_agree_where_they_must_and_part_where_they_must) {
  // One rectangle outweighs the rest: the law's 95.45 % interval is 2 u, the rectangle's ends at 1.653 u
  // (sqrt(3) 0.9545 = 1.6532; closed form). A quantile of a rectangle scatters by sqrt(p(1-p)/n) of its
  // width, below 0.002 u at 10^5 draws: margin 4 times that.
  const std::vector<DelayTerm> terms{
      {.name = "a", .input = {0, 100e-12}, .distribution = Distribution::rectangular}};
  const DelayBudget budget = delay_budget("a", 5e-9, terms);
  EXPECT_NEAR(budget.expanded_s, 200e-12, 1e-21);
  EXPECT_NEAR((budget.drawn.symmetric.high - 5e-9) / 100e-12, 1.6532, 0.008);
  EXPECT_NEAR(budget.drawn.deviation, 100e-12, 1e-12);  // 4/sqrt(2e5), less for a rectangle
  // Welch and Satterthwaite of two equal parts with 4 and 6 degrees of freedom: (1+1)^2/(1/4 + 1/6) = 9.6.
  const DelayBudget freedom =
      delay_budget("b", 0, {{.name = "p", .input = {0, 1e-12, 4}}, {.name = "q", .input = {0, 1e-12, 6}}});
  EXPECT_NEAR(freedom.total_s.degrees_of_freedom, 9.6, 1e-9);
  // Student's t at 9 degrees of freedom, 95.45 %: 2.32 (JCGM 100:2008, table G.2, from memory).
  EXPECT_NEAR(freedom.coverage_factor, 2.32, 0.005);
}

TEST(delay_budget, without_uncertainty_everything_is_a_point) {
  for (const std::vector<DelayTerm>& terms :
       {std::vector<DelayTerm>{}, std::vector<DelayTerm>{{.name = "a", .input = {1e-9, 0}}}}) {
    const DelayBudget budget = delay_budget("a", 1e-9, terms);
    EXPECT_EQ(budget.total_s.uncertainty, 0);
    EXPECT_EQ(budget.drawn.symmetric.low, 1e-9);
    EXPECT_EQ(remeasure_first(budget), "");
  }
}

TEST(chain_delay, moves_with_temperature_and_is_less_known_for_it) {
  Station station{
      .name = "", .elements = {simple("cable", 100e-9, 0)}, .chains = {}, .temperature_c = Estimate{43, 2}};
  Calibration& calibration = station.elements[0].calibrations[0];
  calibration.temperature_coefficient_per_k = {100e-6, 20e-6};
  calibration.temperature_c = 23;
  const ChainDelay delay = chain_delay({"A", {"cable"}}, station, std::nullopt);
  EXPECT_NEAR(delay.delay_s, 100.2e-9, 1e-21);  // 100 ns, 100 ppm/K, 20 K: 0.2 ns
  const DelayBudget budget = delay_budget("A", delay.delay_s, delay.terms);
  // 100 ns * 20 ppm/K * 20 K = 40 ps; 100 ns * 100 ppm/K * 2 K = 20 ps.
  EXPECT_NEAR(budget.total_s.uncertainty, std::hypot(40e-12, 20e-12), 1e-21);
  station.temperature_c.reset();
  const ChainDelay without = chain_delay({"A", {"cable"}}, station, std::nullopt);
  EXPECT_EQ(without.delay_s, 100e-9);
  ASSERT_EQ(without.notes.size(), 1U);
  EXPECT_THAT(without.notes[0], HasSubstr("no temperature"));
}

Station recalibrated_station() {
  return {
      .name = "", .elements = {recalibrated()}, .chains = {{"A", {"cable"}}}, .temperature_c = std::nullopt};
}

TEST(delay_plan, each_record_has_the_calibration_of_its_date) {
  const RunDates dates{.triggers = {{3, at("2026-05-01T00:00:00Z")},
                                    {10, at("2026-05-31T00:00:00Z")},
                                    {20, at("2026-07-02T00:00:00Z")}},
                       .otherwise = std::nullopt};
  const DelayPlan plan = plan_delays({"A"}, recalibrated_station(), dates, ExpiredPolicy::refuse);
  ASSERT_EQ(plan.delays.size(), 2U);
  EXPECT_EQ(plan.delays[0].first_record, 0U);
  EXPECT_EQ(plan.delays[0].last_record, 19U);
  EXPECT_EQ(plan.delays[0].delay_s, 48.0e-9);
  EXPECT_EQ(plan.delays[1].first_record, 20U);
  EXPECT_EQ(plan.delays[1].delay_s, 48.2e-9);
  std::vector<Stamp> stamps(3);
  stamps[0].record = 19;
  stamps[0].time_s = 50e-9;
  stamps[1].record = 20;
  stamps[1].time_s = 50e-9;
  const auto out = with_delays_out(stamps, {"A"}, plan.delays);
  EXPECT_EQ(out[0].time_s, 50e-9 - 48.0e-9);
  EXPECT_EQ(out[1].time_s, 50e-9 - 48.2e-9);
  EXPECT_TRUE(std::isnan(out[2].time_s));
  EXPECT_TRUE(out[0].flags.empty());
}

TEST(delay_plan, an_expired_or_missing_calibration_is_an_error_or_when_asked_for_a_flag) {
  const Station station = recalibrated_station();
  const RunDates dates{.triggers = {}, .otherwise = at("2026-06-10T00:00:00Z")};
  EXPECT_THAT(test::sentence_of([&] { plan_delays({"A"}, station, dates, ExpiredPolicy::refuse); }),
              testing::AllOf(HasSubstr("channel 'A'"), HasSubstr("'cable' ended before 2026-06-10")));
  EXPECT_THAT(test::sentence_of([&] { plan_delays({"A"}, station, {}, ExpiredPolicy::refuse); }),
              HasSubstr("date of the records is not known"));
  EXPECT_THAT(test::sentence_of([&] { plan_delays({"B"}, station, dates, ExpiredPolicy::refuse); }),
              HasSubstr("'B': has no chain"));
  const DelayPlan plan = plan_delays({"A", "B"}, station, dates, ExpiredPolicy::flag);
  EXPECT_EQ(plan.warnings.size(), 2U);
  std::vector<Stamp> stamps(2);
  stamps[0].time_s = stamps[1].time_s = 60e-9;
  stamps[1].channel = 1;
  stamps[0].flags = Flag::clipped;
  const auto out = with_delays_out(stamps, {"A", "B"}, plan.delays);
  EXPECT_EQ(to_text(out[0].flags), "clipped+calibration_expired");
  EXPECT_EQ(out[0].time_s, 60e-9 - 48.0e-9) << "the nearest";
  EXPECT_EQ(out[1].time_s, 60e-9);
  EXPECT_EQ(to_text(out[1].flags), "calibration_expired");
  const auto back = with_delays_back(out, {"A", "B"}, plan.delays);
  EXPECT_EQ(back[0].flags, FlagSet(Flag::clipped));
  EXPECT_TRUE(back[1].flags.empty());
}

TEST(delay_plan, delays_come_back_to_the_last_rounding) {
  test::Random random(20261125);
  const std::vector<AppliedDelay> delays{{.channel = "A", .delay_s = 481.4999e-9, .terms = {}}};
  std::vector<Stamp> stamps(1000);
  for (Stamp& stamp : stamps) stamp.time_s = random.uniform(-1e-6, 1e-6);
  const auto out = with_delays_out(stamps, {"A"}, delays);
  const auto back = with_delays_back(out, {"A"}, delays);
  for (std::size_t i = 0; i < stamps.size(); ++i) {
    // Two roundings, each half a unit of the last place of its result.
    const double bound = std::ldexp(std::abs(stamps[i].time_s) + std::abs(out[i].time_s), -53);
    EXPECT_LE(std::abs(back[i].time_s - stamps[i].time_s), bound);
    EXPECT_LT(bound, 3e-22);
    EXPECT_NE(out[i].time_s, stamps[i].time_s);
  }
}

TEST(delay_plan, what_no_delay_covers_is_refused) {
  const std::vector<AppliedDelay> delays{{.channel = "A", .first_record = 5, .last_record = 9, .terms = {}}};
  Stamp stamp;
  for (const auto& [record, channel, good] : std::vector<std::tuple<int, int, bool>>{
           {5, 0, true}, {9, 0, true}, {4, 0, false}, {10, 0, false}, {5, 1, false}}) {
    stamp.record = static_cast<std::uint64_t>(record);
    stamp.channel = static_cast<std::uint16_t>(channel);
    const std::string sentence = test::sentence_of([&, &s = stamp] {
      with_delays_out(std::vector<Stamp>{s}, {"A", "B"}, delays);
    });
    EXPECT_EQ(sentence.empty(), good) << sentence;
  }
  const RunDates unordered{.triggers = {{3, at("2026-05-01T00:00:00Z")}, {3, at("2026-05-02T00:00:00Z")}},
                           .otherwise = std::nullopt};
  EXPECT_THROW(plan_delays({"A"}, recalibrated_station(), unordered, ExpiredPolicy::flag), Error);
}

TEST(chain, the_result_names_the_least_known_chain_and_what_to_measure_again) {
  const Result result = analyse_chains(plan_delays({"A", "B"}, two_channels(), {}, ExpiredPolicy::refuse));
  EXPECT_THAT(result.answer, testing::AllOf(HasSubstr("chain of B"), HasSubstr("'long cable' again first")));
  EXPECT_EQ(result.tables.size(), 4U) << "totals, two channels, one difference";
  EXPECT_EQ(result.figures.size(), 2U);
  EXPECT_THROW(analyse_chains({}), Error);
}

}  // namespace
}  // namespace firstedge
