// Claims of the agree room: E_n means what it says, shared things cancel, and a wrong chain is pointed at.
#include "firstedge/agree/agree.hpp"

#include "firstedge/agree/suspects.hpp"
#include "firstedge/core/error.hpp"

#include "support/result_parts.hpp"
#include "two_stations.hpp"

#include <cmath>
#include <string>
#include <variant>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

DelayTerm term(const std::string& name, double delay_s, double uncertainty_s) {
  return {.name = name, .input = {delay_s, uncertainty_s}};
}

CompareOptions light_over(double distance_m, double uncertainty_m) {
  CompareOptions options;
  options.travel = travel_time({distance_m, uncertainty_m});
  return options;
}

// Stations whose chains and distance are wrong by what their uncertainties say: |E_n| <= 1 in 95.45 % of
// them.
TEST(agreement, e_n_stays_within_one_as_often_as_it_says) {
  test::Random random(20261210);
  constexpr int trials = 100;
  CompareOptions options = light_over(30, 0.006);
  options.budget.trials.significant_digits = 1;  // E_n is not drawn
  int within = 0;
  double sum = 0, squares = 0;
  for (int i = 0; i < trials; ++i) {
    const double wrong_s = random.normal(0, 25e-12) - random.normal(0, 30e-12) +
                           random.normal(0, 0.006) / speed_of_light_m_per_s;
    Way way = test::passages(random, 60, options.travel.time_s, wrong_s, 40e-12);
    way.first.chain = {term("south cable", 80e-9, 25e-12)};
    way.second.chain = {term("north cable", 60e-9, 30e-12)};
    const WayComparison found = compare_way(way, options);
    within += found.agrees() ? 1 : 0;
    const double pull = found.offset.mean_s.value / found.budget.total_s.uncertainty;
    sum += pull;
    squares += pull * pull;
  }
  // Binomial: fewer than 87 of 100 at 0.9545 happens in 5 of 10,000 runs.
  EXPECT_GE(within, 87);
  // The pulls' mean and standard deviation: 3.3 standard errors, 1/sqrt(100) and 1/sqrt(200).
  EXPECT_NEAR(sum / trials, 0, 0.33);
  EXPECT_NEAR(std::sqrt(squares / trials), 1, 0.24);
}

TEST(agreement, an_element_that_both_chains_share_is_not_in_the_budget) {
  test::Random random(20261211);
  Way way = test::passages(random, 100, 100e-9, 0, 40e-12);
  way.first.chain = {term("shared line", 500e-9, 1e-9), term("a", 10e-9, 30e-12)};
  way.second.chain = {term("shared line", 500e-9, 1e-9), term("b", 20e-9, 40e-12)};
  CompareOptions options;
  options.travel = {.time_s = 100e-9, .terms = {}};
  const WayComparison found = compare_way(way, options);
  const double statistical_s = found.offset.mean_s.uncertainty;
  EXPECT_NEAR(found.budget.total_s.uncertainty, std::hypot(50e-12, statistical_s), 1e-16);
  EXPECT_TRUE(found.warnings.empty()) << found.warnings.front();
}

// Channels "plate" and "diamond" at both stations; the delay of the north's diamond is off by wrong_s.
struct FourChannels {
  Agreement agreement;
  CompareOptions options = light_over(412, 0.01);

  explicit FourChannels(double wrong_s, std::uint64_t seed = 20261212) {
    options.budget.trials.significant_digits = 1;
    test::Random random(seed);
    const double travel_s = options.travel.time_s;
    const auto way_of = [&](const std::string& south, const std::string& north, double offset_s) {
      Way way = test::passages(random, 200, travel_s, offset_s, 40e-12);
      way.name = south + " to " + north;
      way.first.name = "south " + south;
      way.second.name = "north " + north;
      way.first.chain = {term("S line", 31e-9, 20e-12), term("S " + south + " cable", 250e-9, 40e-12)};
      way.second.chain = {term("N line", 28e-9, 20e-12), term("N " + north + " cable", 200e-9, 40e-12)};
      way.second.spare = {term("N patch lead", 3.1e-9, 10e-12), term("N amplifier", 5.2e-9, 20e-12)};
      return way;
    };
    agreement.ways = {way_of("plate", "plate", 0), way_of("diamond", "diamond", wrong_s)};
    agreement.crossings = {way_of("plate", "diamond", wrong_s), way_of("diamond", "plate", 0)};
  }
};

std::string verdict_of(const Result& result) {
  return std::get<std::string>(test::table_of(result, "verdict").rows.at(0).at(0));
}

TEST(agreement, stations_that_agree_are_said_to_agree_in_one_line_with_the_figures) {
  const FourChannels good(0);
  const Result result = analyse_agreement(good.agreement, good.options);
  EXPECT_THAT(result.answer, testing::AllOf(HasSubstr("The stations agree: offset ("), HasSubstr("E_n ="),
                                            HasSubstr("zero within the budget")));
  EXPECT_EQ(verdict_of(result), "agree");
  for (const Figure& figure : result.figures) EXPECT_NE(figure.key, "agree");  // a word, not a number
  EXPECT_TRUE(result.warnings.empty());
}

TEST(agreement, a_chain_that_is_off_by_a_forgotten_lead_is_pointed_at) {
  const FourChannels bad(3.1e-9);
  const Result result = analyse_agreement(bad.agreement, bad.options);
  EXPECT_EQ(verdict_of(result), "do not agree");
  // The largest E_n is that of the way that is off, or of the ways' difference, which holds the same error.
  const double largest = test::cell_of(test::table_of(result, "verdict"), 0, "e_n").value;
  EXPECT_GE(std::abs(largest), std::abs(test::figure_of(result, "e_n_0").value));
  EXPECT_GE(std::abs(largest), std::abs(test::figure_of(result, "e_n_1").value));
  EXPECT_GT(std::abs(largest), 1);
  EXPECT_THAT(
      result.answer,
      testing::AllOf(HasSubstr("do not agree: by diamond to diamond"),
                     HasSubstr("Every way through north diamond is off and no other"),
                     HasSubstr("'N patch lead' of north diamond, if it is in the path, but not in the chain"),
                     HasSubstr("not zero within the budget")));
}

TEST(suspects, each_change_moves_the_offset_its_way) {
  Way way;
  way.first.name = "south";
  way.second.name = "north";
  way.first.chain = {term("s", 2e-9, 30e-12)};
  way.second.chain = {term("n", 5e-9, 40e-12)};
  way.second.spare = {term("spare", 7e-9, 10e-12)};
  // offset = (t2 - d2) - (t1 - d1) - T, by hand: without s 2 ns less, without n 5 ns more, twice the reverse.
  const auto left = [&](double offset_s, const std::string& element, Change change) {
    for (const Suspect& one : suspects_of({offset_s, 100e-12}, way)) {
      if (one.element == element && one.change == change) return one.left_s;
    }
    return Estimate{std::nan(""), 0};
  };
  EXPECT_NEAR(left(2e-9, "s", Change::not_in_path).value, 0, 1e-21);
  EXPECT_NEAR(left(-2e-9, "s", Change::passed_twice).value, 0, 1e-21);
  EXPECT_NEAR(left(-5e-9, "n", Change::not_in_path).value, 0, 1e-21);
  EXPECT_NEAR(left(5e-9, "n", Change::passed_twice).value, 0, 1e-21);
  EXPECT_NEAR(left(7e-9, "spare", Change::not_in_chain).value, 0, 1e-21);
  // The element's own part goes (100^2 - 30^2), comes (+10^2), or doubles (+3 * 40^2).
  EXPECT_NEAR(left(0, "s", Change::not_in_path).uncertainty, std::sqrt(9100.0) * 1e-12, 1e-21);
  EXPECT_NEAR(left(0, "spare", Change::not_in_chain).uncertainty, std::sqrt(10100.0) * 1e-12, 1e-21);
  EXPECT_NEAR(left(0, "n", Change::passed_twice).uncertainty, std::sqrt(14800.0) * 1e-12, 1e-21);
  // What cancelled cannot be the cause.
  EXPECT_EQ(suspects_of({2e-9, 100e-12}, way, way.first.chain).size(), 3U);
  // A passage twice is less likely than a forgotten one, even where it fits better.
  way.first.spare = {term("other", 1.9e-9, 0)};
  EXPECT_EQ(suspects_of({-2e-9, 100e-12}, way).front().element, "other");
}

TEST(suspects, nothing_is_pointed_at_where_nothing_is_off_or_nothing_agrees) {
  const auto way = [](const std::string& first, const std::string& second, double e_n) {
    WayComparison one;
    one.first = first;
    one.second = second;
    one.e_n = e_n;
    return one;
  };
  using Ways = std::vector<WayComparison>;
  EXPECT_TRUE(chains_pointed_at(Ways{way("a", "b", 0.5)}).empty());
  EXPECT_TRUE(chains_pointed_at(Ways{way("a", "b", 5)}).empty());
  EXPECT_THAT(chains_pointed_at(Ways{way("a", "b", 5), way("c", "d", 0.1)}), testing::ElementsAre("a", "b"));
  EXPECT_THAT(chains_pointed_at(Ways{way("a", "b", 5), way("c", "d", 0.1), way("a", "d", -1)}),
              testing::ElementsAre("b"));
  EXPECT_TRUE(chains_pointed_at(Ways{way("a", "b", 5), way("c", "d", 5), way("a", "d", 0), way("c", "b", 0)})
                  .empty());
}

WayComparison told(const std::string& name, double offset_s, std::vector<DelayTerm> terms) {
  WayComparison one;
  one.name = name;
  one.offset.mean_s = {offset_s, 0};
  one.budget = delay_budget(name, offset_s, std::move(terms));
  return one;
}

TEST(combination_of_ways, what_all_share_is_kept_out_of_the_weights_and_put_back) {
  const DelayTerm shared = term("clock", 0, 300e-12);
  const std::vector<WayComparison> ways{told("a", 100e-12, {shared, term("x", 1e-9, 30e-12)}),
                                        told("b", 150e-12, {shared, term("y", 1e-9, 40e-12)})};
  const CombinedWays combined = combine_ways(ways);
  EXPECT_NEAR(combined.common_s, 300e-12, 1e-22);
  // By hand: weights 16 to 9; (16*100 + 9*150)/25 = 118; u = 30*40/50 = 24; chi-square 50^2/50^2 = 1.
  EXPECT_NEAR(combined.weighted.mean.value, 118e-12, 1e-21);
  EXPECT_NEAR(combined.weighted.mean.uncertainty, 24e-12, 1e-21);
  EXPECT_NEAR(combined.weighted.chi_square, 1, 1e-9);
  EXPECT_NEAR(combined.weighted.birge_ratio, 1, 1e-9);
  EXPECT_TRUE(combined.consistent);
  EXPECT_NEAR(combined.offset_s.uncertainty, std::hypot(24e-12, 300e-12), 1e-21);
  const auto differences = differences_of_ways(ways);
  ASSERT_EQ(differences.size(), 1U);
  EXPECT_NEAR(differences[0].budget.total_s.uncertainty, 50e-12, 1e-21) << "the clock cancels";
  EXPECT_NEAR(differences[0].e_n, -50.0 / 100, 1e-9);
}

TEST(combination_of_ways,
     ways_that_contradict_get_a_spread_of_their_own_and_the_odd_one_shows_when_left_out) {
  const std::vector<WayComparison> ways{told("a", 0, {term("x", 1e-9, 30e-12)}),
                                        told("b", 20e-12, {term("y", 1e-9, 30e-12)}),
                                        told("c", 900e-12, {term("z", 1e-9, 30e-12)})};
  const CombinedWays combined = combine_ways(ways);
  EXPECT_FALSE(combined.consistent);
  ASSERT_TRUE(combined.spread.has_value());
  // Equal uncertainties: Mandel and Paule give the plain mean, and s/sqrt(3) as its uncertainty (closed
  // form).
  EXPECT_NEAR(combined.offset_s.value, 920e-12 / 3, 1e-15);
  const double m = 920.0 / 3;
  const double s = std::sqrt((m * m + (20 - m) * (20 - m) + (900 - m) * (900 - m)) / 2);
  EXPECT_NEAR(combined.offset_s.uncertainty, s * 1e-12 / std::sqrt(3.0), 1e-15);
  const auto left_out = leave_one_out(ways);
  ASSERT_EQ(left_out.size(), 3U);
  EXPECT_FALSE(left_out[0].rest.consistent);
  EXPECT_TRUE(left_out[2].rest.consistent) << "without c";
  EXPECT_THROW(combine_ways({}), Error);
  EXPECT_TRUE(leave_one_out(std::span(ways).first(1)).empty());
  EXPECT_TRUE(combine_ways(std::span(ways).first(1)).consistent);
}

TEST(agreement, nothing_to_compare_is_refused) {
  EXPECT_THROW(analyse_agreement({}, {}), Error);
}

}  // namespace
}  // namespace firstedge
