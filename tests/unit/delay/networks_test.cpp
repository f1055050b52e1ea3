// Claims of closure, travelling clock and repeats, by hand-worked examples and by simulation.
#include "firstedge/core/error.hpp"
#include "firstedge/delay/closure.hpp"
#include "firstedge/delay/repeats.hpp"
#include "firstedge/delay/travelling_clock.hpp"

#include "support/random.hpp"
#include "support/result_parts.hpp"

#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

TEST(closure, a_swap_cancels_the_offset) {
  const Swap swap = swap_of({5.3e-9, 30e-12}, {-2.1e-9, 40e-12});
  EXPECT_NEAR(swap.difference_s.value, 3.7e-9, 1e-20);  // rounding
  EXPECT_NEAR(swap.offset_s.value, 1.6e-9, 1e-20);
  EXPECT_NEAR(swap.difference_s.uncertainty, 25e-12, 1e-20);
  // The network says the same.
  const Closure closure = close_network(
      {{"A", "B", "channels", {5.3e-9, 30e-12}}, {"B", "A", "channels", {-2.1e-9, 40e-12}}}, "B");
  EXPECT_NEAR(closure.values_s[0].value, 3.7e-9, 1e-18);
  EXPECT_NEAR(closure.values_s[0].uncertainty, 25e-12, 1e-20);
  EXPECT_NEAR(closure.offset_values_s[0].value, 1.6e-9, 1e-18);
}

TEST(closure, a_triangle_shares_its_misclosure_by_the_variances) {
  // By hand: misclosure 0.6 ns over variances 1, 1, 4 (0.01 ns^2): corrections 0.1, 0.1, 0.4 ns.
  const std::vector<MeasuredDifference> measured{
      {"A", "B", "", {10e-9, 0.1e-9}}, {"B", "C", "", {5e-9, 0.1e-9}}, {"A", "C", "", {15.6e-9, 0.2e-9}}};
  const Closure closure = close_network(measured, "C");
  ASSERT_EQ(closure.loops.size(), 1U);
  EXPECT_NEAR(closure.loops[0].misclosure_s.value, 0.6e-9, 1e-18);
  EXPECT_NEAR(closure.loops[0].misclosure_s.uncertainty, std::sqrt(6.0) * 0.1e-9, 1e-18);
  EXPECT_EQ(closure.loops[0].through, (std::vector<std::size_t>{0, 1}));
  EXPECT_NEAR(closure.values_s[0].value, 15.2e-9, 1e-17);
  EXPECT_NEAR(closure.values_s[1].value, 5.1e-9, 1e-17);
  EXPECT_NEAR(closure.residuals[2].residual_s, 0.4e-9, 1e-17);
  EXPECT_NEAR(closure.chi_square, 6, 1e-6);  // 0.6^2/0.06
  // With one loop all normalised residuals are the misclosure over its uncertainty.
  for (const ClosureResidual& residual : closure.residuals)
    EXPECT_NEAR(std::abs(residual.normalised), std::sqrt(6.0), 1e-6);
}

TEST(closure, a_wrong_measurement_is_the_one_to_look_at) {
  test::Random random(3);
  const std::vector<std::string> names{"a", "b", "c", "d", "e"};
  const std::vector<double> truth{0, 3e-9, -2e-9, 7e-9, 1e-9};
  std::vector<MeasuredDifference> measured;
  for (std::size_t i = 0; i < 5; ++i) {
    for (std::size_t j = i + 1; j < 5; ++j)
      measured.push_back({names[i], names[j], "", {random.normal(truth[i] - truth[j], 50e-12), 50e-12}});
  }
  measured[6].difference_s.value += 1e-9;
  const Closure closure = close_network(measured);
  EXPECT_EQ(closure.loops.size(), 6U);  // 10 measurements, 4 unknowns
  std::size_t worst = 0;
  for (std::size_t i = 1; i < measured.size(); ++i) {
    if (std::abs(closure.residuals[i].normalised) > std::abs(closure.residuals[worst].normalised)) worst = i;
  }
  EXPECT_EQ(worst, 6U);
  EXPECT_LT(closure.probability, 1e-6);
  const Result result = analyse_closure(measured);
  ASSERT_FALSE(result.warnings.empty());
  EXPECT_NE(result.warnings[0].find("b − e"), std::string::npos) << result.warnings[0];
}

TEST(closure, the_plot_shows_which_measurement_misses_zero_by_more_than_two_deviations) {
  // By hand: A - B measured as 1.0, 1.0 and 1.5 ns, each to 0.1 ns: mean 3.5/3 ns, residuals -1/6, -1/6, 1/3
  // ns, each of a standard deviation of 0.1 sqrt(2/3) ns = 0.0816 ns: -2.04, -2.04 and 4.08 of them. C hangs
  // on one measurement alone.
  const std::vector<MeasuredDifference> measured{{"A", "B", "", {1e-9, 0.1e-9}},
                                                 {"A", "B", "", {1e-9, 0.1e-9}},
                                                 {"B", "C", "", {7e-9, 0.1e-9}},
                                                 {"A", "B", "", {1.5e-9, 0.1e-9}}};
  const Plot plot = test::plot_of(analyse_closure(measured), "residuals");
  ASSERT_EQ(plot.series.size(), 2U);
  const Series& off = plot.series[0];
  EXPECT_EQ(off.label, "does not close (k = 2)");
  EXPECT_EQ(off.x, (std::vector<double>{1, 2, 4}));
  const double twice_s = 2 * 0.1e-9 * std::sqrt(2.0 / 3);
  EXPECT_NEAR(off.y[2], 1e-9 / 3, 1e-18);  // rounding
  EXPECT_NEAR(off.y_low[2], 1e-9 / 3 - twice_s, 1e-18);
  EXPECT_NEAR(off.y_high[2], 1e-9 / 3 + twice_s, 1e-18);
  EXPECT_EQ(plot.series[1].label, "nothing checks it");
  EXPECT_EQ(plot.series[1].x, (std::vector<double>{3}));
  // With the third at 1.4 ns the first two lie within two of theirs: -0.4/3 over 0.0816 is -1.63.
  std::vector<MeasuredDifference> closer = measured;
  closer[3].difference_s.value = 1.4e-9;
  const Plot kept = test::plot_of(analyse_closure(closer), "residuals");
  EXPECT_EQ(kept.series[0].label, "closes (k = 2)");
  EXPECT_EQ(kept.series[0].x, (std::vector<double>{1, 2}));
  EXPECT_EQ(kept.series[1].x, (std::vector<double>{4}));
  // A chain that nothing checks has no residuals to show.
  EXPECT_TRUE(analyse_closure({measured[0], measured[2]}).plots.empty());
}

TEST(closure, what_is_not_tied_is_named) {
  try {
    close_network({{"A", "B", "", {1e-9, 1e-12}}, {"C", "D", "", {1e-9, 1e-12}}});
    FAIL();
  } catch (const Error& error) {
    EXPECT_NE(error.problem().find("C, D"), std::string::npos) << error.what();
  }
  EXPECT_THROW(close_network({}), Error);
  EXPECT_THROW(close_network({{"A", "A", "", {1e-9, 1e-12}}}), Error);
  EXPECT_THROW(close_network({{"A", "B", "", {1e-9, 0}}}), Error);
  EXPECT_THROW(close_network({{"A", "B", "", {1e-9, 1e-12}}}, "Z"), Error);
  EXPECT_THROW(close_network({{"A", "B", "x", {1e-9, 1e-12}}}), Error);  // the offset is free
}

TEST(travelling_clock, interpolates_between_the_visits_at_home) {
  // Portable clock: 100 ns at home at 0 s, 180 ns there at 8000 s (1e-11 s/s); at B at 2000 s it reads 95 ns
  // more.
  const ClockTrip trip =
      clock_trip({{"A", 0, {100e-9, 1e-9}}, {"B", 2000, {95e-9, 2e-9}}, {"A", 8000, {180e-9, 3e-9}}});
  ASSERT_EQ(trip.stations.size(), 1U);
  // B - A = portable against A (100 + 80 * 0.25 = 120) less portable against B (95): 25 ns.
  EXPECT_NEAR(trip.stations[0].offset_s.value, 25e-9, 1e-16);
  EXPECT_NEAR(trip.stations[0].offset_s.uncertainty, std::sqrt(4 + 0.75 * 0.75 + 0.25 * 0.25 * 9) * 1e-9,
              1e-15);
  EXPECT_NEAR(trip.rate.value, 1e-11, 1e-18);
}

TEST(travelling_clock, drift_is_taken_out_where_it_is_asked_for) {
  std::vector<ClockVisit> visits;
  const auto portable_s = [](double t) { return 50e-9 + 2e-12 * t + 0.5 * 3e-16 * t * t; };
  for (const double t : {0.0, 10'000.0, 70'000.0, 90'000.0})
    visits.push_back({"A", t, {portable_s(t), 1e-9}});
  visits.push_back({"B", 40'000, {portable_s(40'000) - 77e-9, 1e-9}});
  const ClockTrip trip = clock_trip(visits, {.drift = true});
  EXPECT_NEAR(trip.stations[0].offset_s.value, 77e-9, 1e-15);
  EXPECT_NEAR(trip.drift_per_s.value, 3e-16, 1e-21);
  EXPECT_GT(std::abs(clock_trip(visits).stations[0].offset_s.value - 77e-9), 50e-9);
}

TEST(travelling_clock, wander_of_the_portable_clock_is_in_the_uncertainty) {
  test::Random random(5);
  constexpr int trials = 1000;
  int within = 0;
  for (int i = 0; i < trials; ++i) {
    double walk = 0, last_s = 0;
    std::vector<ClockVisit> visits;
    for (const auto& [station, t] : std::vector<std::pair<std::string, double>>{
             {"A", 0}, {"A", 3600}, {"B", 20'000}, {"A", 40'000}, {"A", 43'600}}) {
      if (t > last_s) walk += random.normal(0, 1e-11 * std::sqrt(t - last_s));
      last_s = t;
      visits.push_back({station, t, {random.normal(walk + 1e-12 * t, 0.3e-9), 0.3e-9}});
    }
    const ClockTrip trip = clock_trip(visits, {.white_frequency = 1e-11});
    within += std::abs(trip.stations[0].offset_s.value) <= trip.stations[0].offset_s.uncertainty ? 1 : 0;
    EXPECT_GT(trip.stations[0].wander_s, 0.5e-9);
  }
  // 68.3 % of 1000: standard deviation 14.7, 3.3 of them for a false alarm in 1,000.
  EXPECT_NEAR(within, 683, 49);
}

// The last reading of the line at or before a time.
double line_at(const Series& line, double time_s) {
  const auto after = std::upper_bound(line.x.begin(), line.x.end(), time_s);
  return line.y.at(static_cast<std::size_t>(after - line.x.begin()) - 1);
}

TEST(travelling_clock, the_plot_shows_the_offset_as_what_the_line_stands_over_the_reading) {
  const std::vector<ClockVisit> visits{
      {"A", 0, {100e-9, 1e-9}},      {"A", 3600, {101e-9, 1e-9}},   {"B", 20'000, {95e-9, 2e-9}},
      {"A", 40'000, {180e-9, 3e-9}}, {"A", 43'600, {186e-9, 1e-9}},
  };
  // A clock that keeps its rate, one with a drift, and one that wanders by 1.4 ns from visit to visit.
  for (const ClockTripOptions& options :
       {ClockTripOptions{}, ClockTripOptions{.drift = true}, ClockTripOptions{.white_frequency = 1e-11}}) {
    const Result result = analyse_clock_trip(visits, options);
    const Plot plot = test::plot_of(result, "trip");
    ASSERT_EQ(plot.series.size(), 3U);
    const Series &home = plot.series[0], &line = plot.series[1], &away = plot.series[2];
    EXPECT_EQ(home.y, (std::vector<double>{100e-9, 101e-9, 180e-9, 186e-9}));
    EXPECT_EQ(away.y_uncertainty, (std::vector<double>{2e-9}));
    EXPECT_NEAR(line_at(line, 20'000) - away.y[0],
                test::cell_of(test::table_of(result, "stations"), 0, "offset").value,
                1e-16);  // rounding of the solution, 1e-9 of some 100 ns
  }
}

TEST(travelling_clock, residuals_are_shown_where_another_visit_checks) {
  // By hand, all at home known alike: 0, 1 and 5 ns at 0, 1 and 2 s leave 0.5, -1 and 0.5 ns of a line. B is
  // visited once and has nothing to leave, even where the clock may have wandered.
  const std::vector<ClockVisit> visits{
      {"A", 0, {0, 1e-9}}, {"A", 1, {1e-9, 1e-9}}, {"B", 1.5, {7e-9, 1e-9}}, {"A", 2, {5e-9, 1e-9}}};
  const Plot plot = test::plot_of(analyse_clock_trip(visits), "residuals");
  ASSERT_EQ(plot.series.size(), 1U);
  EXPECT_EQ(plot.series[0].label, "at A");
  ASSERT_EQ(plot.series[0].x, (std::vector<double>{0, 1, 2}));
  EXPECT_NEAR(plot.series[0].y[0], 0.5e-9, 1e-17);
  EXPECT_NEAR(plot.series[0].y[1], -1e-9, 1e-17);
  EXPECT_NEAR(plot.series[0].y[2], 0.5e-9, 1e-17);

  const Result wandering = analyse_clock_trip(visits, {.white_frequency = 1e-9});
  EXPECT_TRUE(std::isnan(test::cell_of(test::table_of(wandering, "visits"), 2, "residual").value));
  // By hand: 0 - 2 x 1 + 5 ns = 3 ns, of variance 6 ns^2 by the readings and 2 ns^2 by a walk of 1 ns a
  // second: the readings' likeliest errors are 3/8 (1, -2, 1) ns, and the rest is wander.
  const Plot walked = test::plot_of(wandering, "residuals");
  ASSERT_EQ(walked.series.size(), 2U);
  const Series &left = walked.series[0], &wander = walked.series[1];
  EXPECT_NEAR(left.y[0] - line_at(wander, 0), 0.375e-9, 1e-17);
  EXPECT_NEAR(left.y[1] - line_at(wander, 1), -0.75e-9, 1e-17);
  EXPECT_NEAR(left.y[2] - line_at(wander, 2), 0.375e-9, 1e-17);
  // Three visits check nothing.
  EXPECT_EQ(analyse_clock_trip({visits[0], visits[2], visits[3]}).plots.size(), 1U);
}

TEST(travelling_clock, trips_that_do_not_close_are_refused) {
  EXPECT_THROW(clock_trip({}), Error);
  EXPECT_THROW(clock_trip({{"A", 0, {1e-9, 1e-9}}, {"B", 1, {1e-9, 1e-9}}}), Error);
  EXPECT_THROW(clock_trip({{"A", 0, {1e-9, 1e-9}}, {"A", 1, {1e-9, 1e-9}}}), Error);
  EXPECT_THROW(clock_trip({{"A", 0, {1e-9, 1e-9}}, {"B", 1, {1e-9, 0}}, {"A", 2, {1e-9, 1e-9}}}), Error);
  EXPECT_THROW(
      clock_trip({{"A", 0, {1e-9, 1e-9}}, {"B", 1, {1e-9, 1e-9}}, {"A", 2, {1e-9, 1e-9}}}, {.drift = true}),
      Error);
}

TEST(repeats, hundred_nanoseconds_at_hundred_ppm_move_by_two_hundred_picoseconds_in_twenty_kelvin) {
  // The arithmetic that pages on cable coefficients get wrong: 100 ns, 100 ppm/K, 20 K -> 0.2 ns.
  std::vector<Repeat> repeats;
  for (const double t : {10.0, 15.0, 20.0, 25.0, 30.0})
    repeats.push_back({100e-9 * (1 + 100e-6 * (t - 20)), t});
  const Repeats found = summarise_repeats(repeats, {.reference_c = 20, .temperature_uncertainty_c = 20});
  EXPECT_NEAR(found.coefficient_ppm_per_k.value, 100, 1e-6);
  EXPECT_NEAR(found.temperature_part_s, 0.2e-9, 1e-16);
  EXPECT_NEAR(found.delay_s.value, 100e-9, 1e-20);
}

TEST(repeats, coefficient_and_delay_lie_within_their_uncertainties) {
  test::Random random(8);
  constexpr int trials = 1000;
  int delay_within = 0, coefficient_within = 0, lost = 0;
  for (int i = 0; i < trials; ++i) {
    std::vector<Repeat> repeats;
    for (int k = 0; k < 30; ++k) {
      const double t = random.uniform(15, 25);
      repeats.push_back({random.normal(50e-9 * (1 + 60e-6 * (t - 20)), 10e-12), t});
    }
    const Repeats found = summarise_repeats(repeats, {.reference_c = 20});
    delay_within += std::abs(found.delay_s.value - 50e-9) <= found.delay_s.uncertainty ? 1 : 0;
    coefficient_within +=
        std::abs(found.coefficient_ppm_per_k.value - 60) <= found.coefficient_ppm_per_k.uncertainty ? 1 : 0;
    for (const bool outlier : found.outlier) lost += outlier ? 1 : 0;
  }
  // 28 degrees of freedom: 67.4 %; standard deviation 14.8, 3.3 of them.
  EXPECT_NEAR(delay_within, 674, 49);
  EXPECT_NEAR(coefficient_within, 674, 49);
  EXPECT_LT(lost, 60);  // 0.2 % of 30,000 at four robust deviations of 30 values
}

TEST(repeats, the_plot_shows_the_line_that_was_fitted) {
  std::vector<Repeat> repeats;
  for (const double t : {24.0, 16.0, 20.0, 28.0, 12.0})
    repeats.push_back({100e-9 * (1 + 100e-6 * (t - 20)), t});
  const Result result = analyse_repeats(repeats);
  const Series& line = result.plots[0].series.back();
  EXPECT_EQ(line.x, (std::vector<double>{12, 28}));
  // 100 ppm/K of 100 ns are 10 ps/K; rounding of 1e-7 s in a double is 1e-23 s.
  EXPECT_NEAR(line.y[0], 100e-9 - 80e-12, 1e-20);
  EXPECT_NEAR(line.y[1], 100e-9 + 80e-12, 1e-20);
}

TEST(repeats, an_outlier_is_told_and_left_out) {
  std::vector<Repeat> repeats;
  for (const double ps : {0.0, 3.0, -2.0, 1.0, -1.0, 2.0, 500.0}) repeats.push_back({20e-9 + ps * 1e-12});
  const Repeats found = summarise_repeats(repeats);
  EXPECT_EQ(found.outlier, (std::vector<bool>{false, false, false, false, false, false, true}));
  EXPECT_NEAR(found.delay_s.value, 20e-9 + 0.5e-12, 1e-18);
  EXPECT_NEAR(found.mean_with_outliers_s.value, 20e-9 + 503.0 / 7 * 1e-12, 1e-18);
  EXPECT_FALSE(found.temperature_known);
  EXPECT_EQ(analyse_repeats(repeats).warnings.size(), 1U);
}

TEST(repeats, too_few_or_broken_ones_are_refused) {
  EXPECT_THROW(summarise_repeats({{1e-9}, {1e-9}}), Error);
  EXPECT_THROW(summarise_repeats({{1e-9}, {std::nan("")}, {1e-9}}), Error);
  EXPECT_THROW(summarise_repeats({{1e-9, 20}, {1e-9}, {1e-9, 21}}), Error);
  EXPECT_THROW(summarise_repeats({{1e-9}, {1e-9}, {1e-9}}, {.outlier_deviations = 1}), Error);
}

}  // namespace
}  // namespace firstedge
