// Claims of clock/counter_clock.hpp on simulated counters with known truth: uncertainties hold, missed,
// doubled and wild edges are told, slips of whole seconds and of reference periods are found, holdover grows.
#include "firstedge/clock/counter_clock.hpp"

#include "support/published_leap_seconds.hpp"
#include "support/sentence_of.hpp"
#include "support/simulated_counter.hpp"

#include <cmath>
#include <functional>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

const LeapSeconds leap = test::leap_seconds_of_2026();

struct Shares {
  std::size_t points = 0, within_one = 0, within_two = 0;
  void add(double error, double uncertainty) {
    ++points;
    within_one += std::abs(error) < uncertainty ? 1 : 0;
    within_two += std::abs(error) < 2 * uncertainty ? 1 : 0;
  }
  double one() const { return static_cast<double>(within_one) / static_cast<double>(points); }
  double two() const { return static_cast<double>(within_two) / static_cast<double>(points); }
  // 3.3 standard deviations of a share: a false alarm in 1,000.
  double margin(double share) const {
    return 3.3 * std::sqrt(share * (1 - share) / static_cast<double>(points));
  }
};

TEST(counter_clock, stated_uncertainties_hold_between_edges_with_the_noise_found) {
  Shares shares;
  for (std::uint64_t seed = 1; seed <= 150; ++seed) {
    test::SimulatedCounter counter({.seed = seed});
    const CounterClock clock = CounterClock::from_edges(counter.edges(), leap, counter.options());
    ASSERT_TRUE(clock.slips().empty()) << seed;
    // The model remembers sqrt(edge noise/rate walk) = 7 s: points 70 s apart are independent.
    for (std::size_t second = 30; second < 600; second += 70) {
      const std::size_t quarter = 4 * second + second / 70 % 4;
      const CounterInstant found = clock.at(counter.reading(quarter));
      shares.add(counter.error_s(found, leap, quarter), found.uncertainty_s);
    }
  }
  EXPECT_NEAR(shares.one(), 0.683, shares.margin(0.683));
  EXPECT_NEAR(shares.two(), 0.954, shares.margin(0.954));
}

Shares holdover_shares(bool given, std::uint64_t runs) {
  Shares shares;
  for (std::uint64_t seed = 1; seed <= runs; ++seed) {
    test::CounterPlan plan{.seconds = 1200, .seed = 1000 + seed};
    test::SimulatedCounter counter(plan);
    std::vector<SecondEdge> edges;
    for (std::size_t second = 0; second < 700; ++second) edges.push_back(counter.edge(second));
    CounterClockOptions options = counter.options();
    if (given) options.noise = plan.noise;
    const CounterClock clock = CounterClock::from_edges(edges, leap, options);
    const CounterInstant found = clock.at(counter.reading(4 * 1100));
    EXPECT_TRUE(found.holdover);
    EXPECT_NEAR(found.from_edge_s, 401, 0.01);
    shares.add(counter.error_s(found, leap, 4 * 1100), found.uncertainty_s);
  }
  return shares;
}

TEST(counter_clock, holdover_holds_with_the_noise_given) {
  const Shares shares = holdover_shares(true, 400);
  EXPECT_NEAR(shares.one(), 0.683, shares.margin(0.683));
  EXPECT_NEAR(shares.two(), 0.954, shares.margin(0.954));
}

TEST(counter_clock, holdover_holds_with_the_noise_found_and_is_hardly_too_wide) {
  const Shares shares = holdover_shares(false, 150);
  EXPECT_GT(shares.one(), 0.683 - shares.margin(0.683));
  // The rate's walk is taken one standard deviation high, some 25 % for 700 edges: at most 79 % then.
  EXPECT_LT(shares.one(), 0.79 + shares.margin(0.79));
  EXPECT_GT(shares.two(), 0.954 - shares.margin(0.954));
}

TEST(counter_clock, holdover_grows_to_both_sides_and_in_gaps) {
  test::SimulatedCounter counter({.seconds = 2000, .seed = 5});
  std::vector<SecondEdge> edges;
  for (std::size_t second = 500; second < 1500; ++second) {
    if (second < 900 || second > 1100) edges.push_back(counter.edge(second));
  }
  const CounterClock clock = CounterClock::from_edges(edges, leap, counter.options());
  EXPECT_EQ(clock.account().missed, 201U);
  const auto uncertainty = [&](std::size_t second) {
    return clock.at(counter.reading(4 * second)).uncertainty_s;
  };
  EXPECT_LT(uncertainty(1480), uncertainty(1520));
  EXPECT_LT(uncertainty(1520), uncertainty(1900));
  EXPECT_LT(uncertainty(490), uncertainty(100));
  EXPECT_GT(uncertainty(1000), 3 * uncertainty(800));  // in the gap
  EXPECT_LT(uncertainty(1000), uncertainty(1599));     // both of its ends are known
  EXPECT_TRUE(clock.at(counter.reading(400)).holdover);
  EXPECT_FALSE(clock.at(counter.reading(4000)).holdover);
  EXPECT_NEAR(clock.at(counter.reading(4000)).from_edge_s, 100, 1.01);
}

// The reference of what an error may be in the tests below: far beyond 5 standard uncertainties is wrong.
void expect_true_everywhere(const CounterClock& clock, const test::SimulatedCounter& counter,
                            const std::function<double(std::size_t)>& jumped_s) {
  for (std::size_t quarter = 80; quarter < 2300; quarter += 37) {
    const CounterInstant found = clock.at(counter.reading(quarter, 0, jumped_s(quarter)));
    EXPECT_LT(std::abs(counter.error_s(found, leap, quarter)), 5 * found.uncertainty_s) << quarter;
    // Edges of 5 ns averaged over some 7 s on either side: below 5 ns in any case.
    if (!found.in_slip) {
      EXPECT_LT(found.uncertainty_s, 5e-9) << quarter;
    }
  }
}

double never(std::size_t) {
  return 0;
}

TEST(counter_clock, missed_doubled_spurious_and_wild_edges_are_told_and_do_no_harm) {
  test::SimulatedCounter counter({.seed = 7});
  std::vector<SecondEdge> edges;
  std::size_t missed = 0, doubled = 0, spurious = 0, wild = 0;
  for (std::size_t second = 0; second < 600; ++second) {
    if (second % 41 == 20) {
      ++missed;
      continue;
    }
    const bool is_wild = second % 83 == 11;
    wild += is_wild ? 1 : 0;
    edges.push_back(counter.edge(second, is_wild ? 300e-9 : 0));
    if (second % 29 == 3) {  // a reflection 40 us later
      edges.push_back({.counter = counter.reading(4 * second, 40e-6)});
      ++doubled;
    }
    if (second % 53 == 7) {  // a stray pulse
      edges.push_back({.counter = counter.reading(4 * second + 1, 0.1)});
      ++spurious;
    }
  }
  const CounterClock clock = CounterClock::from_edges(edges, leap, counter.options());
  EXPECT_EQ(clock.account().missed, missed);
  EXPECT_EQ(clock.account().doubled, doubled);
  EXPECT_EQ(clock.account().spurious, spurious);
  EXPECT_EQ(clock.account().wild, wild);
  const EdgeAccount& account = clock.account();
  EXPECT_EQ(account.used + account.wild + account.uncorrected + account.unclear + account.doubled +
                account.spurious,
            account.given);
  EXPECT_TRUE(clock.slips().empty());
  expect_true_everywhere(clock, counter, never);
}

TEST(counter_clock, slips_by_reference_periods_are_found_and_taken_out) {
  test::SimulatedCounter counter({.seed = 11});
  // 10 MHz reference: 3 periods gained after second 150, 1 lost after second 400.
  const auto jumped_s = [](std::size_t quarter) {
    return (quarter > 602 ? 3e-7 : 0) - (quarter > 1602 ? 1e-7 : 0);
  };
  std::vector<SecondEdge> edges;
  for (std::size_t second = 0; second < 600; ++second)
    edges.push_back(counter.edge(second, 0, jumped_s(4 * second)));
  CounterClockOptions options = counter.options();
  options.reference_period_s = 1e-7;
  const CounterClock clock = CounterClock::from_edges(edges, leap, options);
  ASSERT_EQ(clock.slips().size(), 2U);
  EXPECT_EQ(clock.slips()[0].kind, CounterSlip::Kind::reference_periods);
  EXPECT_EQ(clock.slips()[0].count, 3);
  EXPECT_EQ(clock.slips()[0].edge_after, 151U);
  EXPECT_EQ(clock.slips()[1].count, -1);
  EXPECT_EQ(clock.slips()[1].edge_after, 401U);
  EXPECT_NEAR(clock.slips()[1].size_s.value, -1e-7, 5 * clock.slips()[1].size_s.uncertainty);
  expect_true_everywhere(clock, counter, jumped_s);
  const CounterInstant inside = clock.at(counter.reading(602));
  EXPECT_TRUE(inside.in_slip);
  EXPECT_NEAR(inside.uncertainty_s, 1.5e-7, 0.1e-7);
}

TEST(counter_clock, large_jumps_and_whole_seconds_lost_by_the_counter_are_found_by_the_labels) {
  test::SimulatedCounter counter({.seed = 13});
  const auto jumped_s = [](std::size_t quarter) {
    return (quarter > 802 ? 0.013 : 0) - (quarter > 1602 ? 2.0 : 0);
  };
  std::vector<SecondEdge> edges;
  for (std::size_t second = 0; second < 600; ++second) {
    // The counter that falls back two seconds would meet its old readings: the pulses are missed there.
    if (second < 400 || second > 405) edges.push_back(counter.edge(second, 0, jumped_s(4 * second)));
  }
  const CounterClock clock = CounterClock::from_edges(edges, leap, counter.options());
  ASSERT_EQ(clock.slips().size(), 2U);
  EXPECT_EQ(clock.slips()[0].kind, CounterSlip::Kind::other);
  EXPECT_NEAR(clock.slips()[0].size_s.value, 0.013, 5 * clock.slips()[0].size_s.uncertainty);
  EXPECT_EQ(clock.slips()[1].kind, CounterSlip::Kind::whole_seconds);
  EXPECT_EQ(clock.slips()[1].count, -2);
  EXPECT_EQ(clock.account().labels_wrong, 0U);
  expect_true_everywhere(clock, counter, jumped_s);
}

TEST(counter_clock, labels_that_step_for_good_are_followed_and_told) {
  test::SimulatedCounter counter({.seed = 41});
  std::vector<SecondEdge> edges = counter.edges();
  for (std::size_t second = 300; second < 600; ++second) edges[second].label->seconds += 1;
  const CounterClock clock = CounterClock::from_edges(edges, leap, counter.options());
  ASSERT_EQ(clock.slips().size(), 1U);
  EXPECT_EQ(clock.slips()[0].kind, CounterSlip::Kind::whole_seconds);
  EXPECT_EQ(clock.slips()[0].count, -1);
  EXPECT_EQ(clock.slips()[0].edge_after, 300U);
  EXPECT_NEAR(counter.error_s(clock.at(counter.reading(2001)), leap, 2001), 1, 1e-7);
  EXPECT_NEAR(counter.error_s(clock.at(counter.reading(401)), leap, 401), 0, 1e-7);
}

TEST(counter_clock, labels_that_are_wrong_for_a_while_are_not_believed) {
  test::SimulatedCounter counter({.seed = 17});
  std::vector<SecondEdge> edges = counter.edges();
  for (std::size_t second = 300; second < 340; ++second) edges[second].label->seconds += 1;
  for (std::size_t second = 100; second < 600; ++second)
    if (second % 10 != 0) edges[second].label = std::nullopt;
  edges[50].label->seconds -= 18;
  const CounterClock clock = CounterClock::from_edges(edges, leap, counter.options());
  EXPECT_EQ(clock.account().labels_wrong, 5U);
  EXPECT_EQ(clock.account().labelled, 150U);
  EXPECT_TRUE(clock.slips().empty());
  expect_true_everywhere(clock, counter, never);
}

// Labels on every tenth edge only, and two seconds lost by the counter after second 404.
std::vector<SecondEdge> sparsely_labelled(test::SimulatedCounter& counter, double lost_s) {
  std::vector<SecondEdge> edges;
  for (std::size_t second = 0; second < 600; ++second) {
    if (second > 404 && second < 408) continue;
    edges.push_back(counter.edge(second, 0, second > 404 ? -lost_s : 0));
    if (second % 10 != 0) edges.back().label = std::nullopt;
  }
  return edges;
}

TEST(counter_clock, with_sparse_labels_a_jump_tells_where_seconds_were_lost) {
  test::SimulatedCounter counter({.seed = 47});
  const CounterClock clock =
      CounterClock::from_edges(sparsely_labelled(counter, 2.25), leap, counter.options());
  ASSERT_EQ(clock.slips().size(), 1U);
  EXPECT_NEAR(clock.slips()[0].size_s.value, -2.25, 5 * clock.slips()[0].size_s.uncertainty);
  EXPECT_EQ(clock.account().unclear, 0U);
  for (const std::size_t second : {400, 409, 411, 500}) {
    const std::size_t quarter = 4 * second + 1;
    const CounterInstant found = clock.at(counter.reading(quarter, 0, second > 404 ? -2.25 : 0));
    EXPECT_LT(std::abs(counter.error_s(found, leap, quarter)), 5 * found.uncertainty_s) << second;
  }
}

TEST(counter_clock, with_sparse_labels_alone_times_beside_a_lost_second_are_uncertain_by_it) {
  // So near its nominal rate that two seconds lost are 20 ns off in true time: no jump to be seen.
  test::SimulatedCounter counter({.mean_rate = 1e-8, .noise = {5e-9, 1e-12, 1e-12}, .seed = 53});
  const CounterClock clock = CounterClock::from_edges(sparsely_labelled(counter, 2), leap, counter.options());
  ASSERT_EQ(clock.slips().size(), 1U);
  EXPECT_EQ(clock.slips()[0].kind, CounterSlip::Kind::whole_seconds);
  EXPECT_EQ(clock.slips()[0].count, -2);
  EXPECT_EQ(clock.account().unclear, 6U);  // seconds 401 to 404, 408 and 409
  for (const std::size_t second : {399, 402, 409, 411, 500}) {
    const std::size_t quarter = 4 * second + 1;
    const CounterInstant found = clock.at(counter.reading(quarter, 0, second > 404 ? -2 : 0));
    EXPECT_LE(std::abs(counter.error_s(found, leap, quarter)), 5 * found.uncertainty_s) << second;
    EXPECT_EQ(found.in_slip, second > 400 && second < 410) << second;
    EXPECT_EQ(found.uncertainty_s > 0.9, found.in_slip);
  }
}

TEST(counter_clock, the_receivers_correction_is_applied_when_given) {
  test::SimulatedCounter counter({.noise = {1e-9, 1e-11, 1e-11}, .seed = 19});
  test::Random random(23);
  std::vector<SecondEdge> edges, bare;
  for (std::size_t second = 0; second < 600; ++second) {
    const double sawtooth_s = random.uniform(-20e-9, 20e-9);
    edges.push_back(counter.edge(second, sawtooth_s));
    bare.push_back(edges.back());
    edges.back().correction_s = sawtooth_s;
  }
  edges[77].correction_s = std::numeric_limits<double>::quiet_NaN();
  const CounterClock corrected = CounterClock::from_edges(edges, leap, counter.options());
  const CounterClock plain = CounterClock::from_edges(bare, leap, counter.options());
  EXPECT_TRUE(corrected.corrected());
  EXPECT_EQ(corrected.account().uncorrected, 1U);
  // 600 innovations tell a deviation to 1/sqrt(1200) = 3 %; 3.3 of these.
  EXPECT_NEAR(corrected.noise().edge_s, 1e-9, 0.1e-9);
  // The sawtooth is uniform over 40 ns: 40/sqrt(12) = 11.5 ns.
  EXPECT_NEAR(plain.noise().edge_s, 11.5e-9, 1.2e-9);
  const std::size_t quarter = 1201;
  const CounterInstant found = corrected.at(counter.reading(quarter));
  EXPECT_LT(found.uncertainty_s, 0.6e-9);
  EXPECT_LT(std::abs(counter.error_s(found, leap, quarter)), 4 * found.uncertainty_s);
}

TEST(counter_clock, delay_and_uncertainty_of_the_reference_go_into_the_time) {
  test::SimulatedCounter counter({.seed = 29});
  std::vector<SecondEdge> edges;
  for (std::size_t second = 0; second < 600; ++second) edges.push_back(counter.edge(second, 250e-9));
  CounterClockOptions options = counter.options();
  options.edge_delay_s = 250e-9;
  options.reference_uncertainty_s = 12e-9;
  const CounterClock clock = CounterClock::from_edges(edges, leap, options);
  const CounterInstant found = clock.at(counter.reading(1201));
  EXPECT_GT(found.uncertainty_s, 12e-9);
  EXPECT_LT(found.uncertainty_s, 13e-9);
  EXPECT_LT(std::abs(counter.error_s(found, leap, 1201)), 10e-9);  // 5 of the edges' own part, below 2 ns
}

TEST(counter_clock, a_leap_second_in_the_run_costs_nothing) {
  test::CounterPlan plan{.seed = 31};
  plan.first_second = parse_instant("2016-12-31T23:55:00Z", TimeScale::utc, "test").seconds;
  test::SimulatedCounter counter(plan);
  std::vector<SecondEdge> edges = counter.edges();
  const Instant begin = leap.tai_of_utc({TimeScale::utc, plan.first_second, 0});
  for (std::size_t second = 0; second < edges.size(); ++second)
    edges[second].label =
        leap.utc_of_tai({TimeScale::tai, begin.seconds + static_cast<std::int64_t>(second), 0});
  EXPECT_EQ(to_text(*edges[300].label), "2016-12-31T23:59:60.000000000000000Z");
  const CounterClock clock = CounterClock::from_edges(edges, leap, counter.options());
  EXPECT_TRUE(clock.slips().empty());
  EXPECT_EQ(clock.account().labels_wrong, 0U);
  const Instant inside = leap.utc_of_tai(clock.at(counter.reading(1202)).tai);
  EXPECT_EQ(to_text(inside).substr(0, 25), "2016-12-31T23:59:60.50000");
}

TEST(counter_clock, a_year_of_counting_loses_no_picosecond) {
  // Ten edges a year apart from ten others, without noise: nominal rate, so that only rounding is left.
  std::vector<SecondEdge> edges;
  constexpr std::int64_t year = 31'536'000;
  constexpr double rate_hz = 312.5e6;
  for (const std::int64_t second : {std::int64_t{0}, year}) {
    for (std::int64_t i = 0; i < 10; ++i)
      edges.push_back({.counter = {(second + i) * 312'500'000, 0.375},
                       .label = Instant{TimeScale::utc, 1'795'588'620 + second + i, 0}});
  }
  const CounterClock clock = CounterClock::from_edges(edges, leap, {.rate_hz = rate_hz});
  const CounterInstant found = clock.at({(year + 5) * 312'500'000 + 125'000'000, 0.375});
  const Instant truth{TimeScale::tai, 1'795'588'620 + 37 + year + 5, 400'000'000'000'000};
  EXPECT_LT(std::abs(difference_s(found.tai, truth)), 1e-12);
}

TEST(counter_clock, edges_that_cannot_be_used_are_refused_with_one_sentence) {
  test::SimulatedCounter counter({.seed = 37});
  const std::vector<SecondEdge> edges = counter.edges();
  const auto sentence = [&](std::vector<SecondEdge> given, CounterClockOptions options) {
    return test::sentence_of([&] { CounterClock::from_edges(given, leap, options); });
  };
  EXPECT_THAT(sentence(edges, {}), HasSubstr("a nominal rate of 0 Hz"));
  EXPECT_THAT(sentence({edges.begin(), edges.begin() + 5}, counter.options()),
              HasSubstr("5 edges are too few"));
  std::vector<SecondEdge> falling = edges;
  std::swap(falling[10], falling[11]);
  EXPECT_THAT(sentence(falling, counter.options()), HasSubstr("edge 12: the counter does not rise"));
  std::vector<SecondEdge> bare = edges;
  for (SecondEdge& edge : bare) edge.label = std::nullopt;
  EXPECT_THAT(sentence(bare, counter.options()), HasSubstr("says which second it marks"));
  std::vector<SecondEdge> broken = edges;
  broken[3].label->femtoseconds = 1;
  EXPECT_THAT(sentence(broken, counter.options()), HasSubstr("edge 4: 2026-11-25"));
  EXPECT_THAT(sentence(edges, {.rate_hz = 300e6}), HasSubstr("no two neighbours lie a whole number"));
}

}  // namespace
}  // namespace firstedge
