// Claims of clock/common_view.hpp and clock/link_stability.hpp on invented stations with known clocks.
#include "firstedge/clock/common_view.hpp"

#include "firstedge/clock/link_stability.hpp"
#include "firstedge/clock/station_comparison.hpp"

#include "support/published_leap_seconds.hpp"
#include "support/sentence_of.hpp"
#include "support/skerry_tracks.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

const LeapSeconds leap = test::leap_seconds_of_2026();

// Clocks of three stations: offsets and rates that differ.
double clock_of(std::size_t station, double t) {
  return station == 0 ? 120e-9 + 2e-13 * t : station == 1 ? -45e-9 : 30e-9 - 1e-13 * t;
}

double truth(std::size_t first, std::size_t second, double since_begin, const StationLink& link) {
  // The first day begins at MJD 61369; the link at its first middle.
  const Instant midnight = leap.tai_of_utc({TimeScale::utc, (61369 - 40587) * std::int64_t{86400}, 0});
  const double t = difference_s(link.begin, midnight) + since_begin;
  return clock_of(first, t) - clock_of(second, t);
}

struct Shares {
  std::size_t points = 0, within_one = 0, within_two = 0;
  double worst = 0;
};
Shares shares_of(const StationLink& link, std::size_t first, std::size_t second) {
  Shares shares;
  for (const LinkPoint& point : link.points) {
    const double pull = std::abs(point.difference_s.value - truth(first, second, point.time_s, link)) /
                        point.difference_s.uncertainty;
    ++shares.points;
    shares.within_one += pull < 1 ? 1 : 0;
    shares.within_two += pull < 2 ? 1 : 0;
    shares.worst = std::max(shares.worst, pull);
  }
  return shares;
}

// Within 3.3 standard deviations of a share: a false alarm in 1,000.
void expect_shares(const Shares& shares) {
  const auto n = static_cast<double>(shares.points);
  EXPECT_NEAR(static_cast<double>(shares.within_one) / n, 0.683, 3.3 * std::sqrt(0.683 * 0.317 / n));
  EXPECT_NEAR(static_cast<double>(shares.within_two) / n, 0.954, 3.3 * std::sqrt(0.954 * 0.046 / n));
}

TEST(common_view, satellite_errors_cancel_and_stated_uncertainties_hold) {
  const auto stations =
      test::skerry_tracks({.days = 8, .satellite_error_s = 50e-9}, {"SKN", "SKS"}, clock_of);
  const StationLink link = common_view(stations[0], stations[1], leap, {.floor_s = 0.1e-9});
  ASSERT_GT(link.points.size(), 700U);
  expect_shares(shares_of(link, 0, 1));
  // The noise drawn is what DSG says: no scaling but for the floor, 2 x (0.1/2.8)^2 of the variance.
  EXPECT_NEAR(link.scale, 1, 0.03);
  EXPECT_EQ(link.system, "G");
  EXPECT_EQ(link.code, "L3P");
  EXPECT_EQ(link.first_account.given, link.first_account.used + link.first_account.wild);
}

TEST(common_view, understated_residuals_are_scaled_by_the_scatter_within_slots) {
  auto stations = test::skerry_tracks({.days = 8}, {"SKN", "SKS"}, clock_of);
  for (StationTracks& station : stations)
    for (SatelliteTrack& track : station.tracks) track.residual_s /= 3;
  const StationLink link = common_view(stations[0], stations[1], leap, {.floor_s = 0.01e-9});
  EXPECT_NEAR(link.scale, 3, 0.1);
  expect_shares(shares_of(link, 0, 1));
}

TEST(common_view, wild_tracks_are_left_out_and_counted) {
  auto stations = test::skerry_tracks({.days = 4, .seed = 3}, {"SKN", "SKS"}, clock_of);
  std::uint64_t spoilt = 0;
  for (std::size_t i = 0; i < stations[0].tracks.size(); i += 97) {
    stations[0].tracks[i].minus_system_s += 300e-9;
    ++spoilt;
  }
  const StationLink link = common_view(stations[0], stations[1], leap);
  EXPECT_GE(link.first_account.wild, spoilt - 2);  // in slots of fewer than three it cannot be told
  // Of some 3,000 normal tracks, 5 robust deviations leave out one in 1e6.
  EXPECT_LE(link.first_account.wild, spoilt + 3);
}

TEST(common_view, tracks_that_do_not_fit_are_counted_by_reason) {
  auto stations = test::skerry_tracks({}, {"SKN", "SKS"}, clock_of);
  stations[0].tracks[0].minus_system_s = SatelliteTrack::not_known;
  stations[0].tracks[1].elevation_rad = 0.1;
  stations[0].tracks[2].length_s = 500;
  stations[0].tracks[3].code = "L1C";
  stations[0].tracks.push_back(stations[0].tracks[4]);
  const StationLink link = common_view(stations[0], stations[1], leap);
  const TrackAccount& account = link.first_account;
  EXPECT_EQ(account.without_value, 1U);
  EXPECT_EQ(account.low, 1U);
  EXPECT_EQ(account.short_track, 1U);
  EXPECT_EQ(account.other_signal, 1U);
  EXPECT_EQ(account.repeated, 1U);
  EXPECT_EQ(link.second_account.alone, 4U);
  EXPECT_EQ(account.given, account.without_value + account.low + account.short_track + account.other_signal +
                               account.repeated + account.alone + account.wild + account.used);
}

TEST(common_view, a_satellite_that_is_off_shows_beside_the_others) {
  auto stations = test::skerry_tracks({.days = 6}, {"SKN", "SKS"}, clock_of);
  for (SatelliteTrack& track : stations[0].tracks)
    if (track.satellite.number == 9) track.minus_system_s += 4e-9;
  const StationLink link = common_view(stations[0], stations[1], leap);
  for (const SatelliteShare& share : link.satellites) {
    const double pull = share.residual_s.value / share.residual_s.uncertainty;
    if (share.satellite.number == 9) {
      EXPECT_GT(pull, 6);
      // It pulls the mean of its slot along by its share, one in some eight.
      EXPECT_NEAR(share.residual_s.value, 3.5e-9, 4 * share.residual_s.uncertainty);
    } else {
      EXPECT_LT(share.residual_s.value, 1.5e-9);
    }
  }
}

TEST(all_in_view, compares_stations_that_see_different_satellites) {
  const auto stations =
      test::skerry_tracks({.days = 8, .same_sky = false, .seed = 5}, {"SKN", "SKS"}, clock_of);
  const StationLink own = all_in_view(stations[0], stations[1], leap, {.floor_s = 0.1e-9});
  const StationLink shared = common_view(stations[0], stations[1], leap, {.floor_s = 0.1e-9});
  expect_shares(shares_of(own, 0, 1));
  expect_shares(shares_of(shared, 0, 1));
  // A third of the satellites are shared: the mean of all is better by about sqrt 3.
  EXPECT_LT(1.4 * own.points[100].difference_s.uncertainty, shared.points[100].difference_s.uncertainty);
}

TEST(all_in_view, satellite_errors_that_common_view_cancels_enter_its_uncertainty) {
  const auto stations = test::skerry_tracks({.days = 8, .satellite_error_s = 10e-9, .same_sky = false},
                                            {"SKN", "SKS"}, clock_of);
  const StationLink own = all_in_view(stations[0], stations[1], leap);
  const StationLink shared = common_view(stations[0], stations[1], leap);
  EXPECT_GT(own.scale, 3);
  EXPECT_NEAR(shared.scale, 1, 0.05);
}

TEST(smoothing, follows_a_slope_without_bias_and_shrinks_the_noise) {
  std::vector<LinkPoint> line;
  for (int i = 0; i < 200; ++i) line.push_back({960.0 * i, {1e-9 * i, 2e-9}, 5});
  for (const LinkPoint& point : smoothed(line, 9600)) {
    EXPECT_NEAR(point.difference_s.value, 1e-9 * point.time_s / 960, 1e-18);  // rounding of 2e-7
    EXPECT_LT(point.difference_s.uncertainty, 2e-9);
  }
  const auto alone = smoothed(std::vector<LinkPoint>{{0, {5e-9, 1e-9}, 1}}, 100);
  EXPECT_DOUBLE_EQ(alone.front().difference_s.value, 5e-9);
  EXPECT_DOUBLE_EQ(alone.front().difference_s.uncertainty, 1e-9);
}

TEST(smoothing, stated_uncertainties_hold) {
  test::Random random(11);
  std::size_t inside = 0, points = 0;
  for (int run = 0; run < 400; ++run) {
    std::vector<LinkPoint> noise;
    for (int i = 0; i < 41; ++i) noise.push_back({960.0 * i, {random.normal(0, 3e-9), 3e-9}, 5});
    for (const std::size_t at : {std::size_t{0}, std::size_t{20}, std::size_t{40}}) {
      const Estimate found = smoothed(noise, 9600)[at].difference_s;
      inside += std::abs(found.value) < found.uncertainty ? 1 : 0;
      ++points;
    }
  }
  const auto n = static_cast<double>(points);
  EXPECT_NEAR(static_cast<double>(inside) / n, 0.683, 3.3 * std::sqrt(0.683 * 0.317 / n));
}

TEST(link_course, offset_rate_and_time_deviation_are_those_of_the_clocks) {
  const auto stations = test::skerry_tracks({.days = 10}, {"SKN", "SKS"}, clock_of);
  const StationLink link = common_view(stations[0], stations[1], leap);
  const LinkCourse course = link_course(link.points);
  EXPECT_NEAR(course.rate.value, 2e-13, 3.3 * course.rate.uncertainty);
  EXPECT_NEAR(course.offset_s.value, truth(0, 1, course.middle_s, link), 3.3 * course.offset_s.uncertainty);
  // White noise: the time deviation at the first averaging time is the deviation of a point (SP 1065, 5.5.3,
  // with tau = tau0), known to 1/sqrt(2 x 890) x 1.2; 3.3 of these.
  EXPECT_NEAR(course.time_deviation.front().point.deviation, course.residual_deviation_s,
              0.1 * course.residual_deviation_s);
  EXPECT_NEAR(course.type_a_s, course.residual_deviation_s, 0.1 * course.residual_deviation_s);
}

TEST(closure, three_stations_close_to_zero_within_their_scatter) {
  const auto stations = test::skerry_tracks({.days = 6, .satellite_error_s = 20e-9, .same_sky = false},
                                            {"SKN", "SKS", "SKW"}, clock_of);
  const LinkClosure sum =
      closure(common_view(stations[0], stations[1], leap), common_view(stations[1], stations[2], leap),
              common_view(stations[2], stations[0], leap));
  ASSERT_GT(sum.points.size(), 300U);
  EXPECT_NEAR(sum.mean_s.value, 0, 3.3 * sum.mean_s.uncertainty);
  EXPECT_GT(sum.deviation_s, 0.5e-9);
}

TEST(closure, is_exactly_zero_when_all_three_use_the_same_satellites) {
  const auto stations = test::skerry_tracks({.days = 1}, {"SKN", "SKS", "SKW"}, clock_of);
  // Equal weights for all: no track tells its residual.
  auto plain = stations;
  for (StationTracks& station : plain)
    for (SatelliteTrack& track : station.tracks) track.residual_s = SatelliteTrack::not_known;
  const TrackChoice all{.wildest = 1e6};
  const LinkClosure sum =
      closure(common_view(plain[0], plain[1], leap, all), common_view(plain[1], plain[2], leap, all),
              common_view(plain[2], plain[0], leap, all));
  ASSERT_FALSE(sum.points.empty());
  for (const LinkPoint& point : sum.points) EXPECT_EQ(point.difference_s.value, 0);
  EXPECT_EQ(sum.mean_s.value, 0);
}

TEST(closure, is_plotted_where_it_is_not_zero_throughout) {
  const auto has_plot = [](bool same_sky) {
    auto stations = test::skerry_tracks({.days = 1, .satellite_error_s = 20e-9, .same_sky = same_sky},
                                        {"SKN", "SKS", "SKW"}, clock_of);
    for (StationTracks& station : stations)  // equal weights for all
      for (SatelliteTrack& track : station.tracks) track.residual_s = SatelliteTrack::not_known;
    const Result result = compare_stations(stations, leap, {.choice = {.wildest = 1e6}});
    return std::any_of(result.plots.begin(), result.plots.end(),
                       [](const Plot& plot) { return plot.key == "closure"; });
  };
  EXPECT_TRUE(has_plot(false));
  EXPECT_FALSE(has_plot(true));
}

TEST(common_view, stations_without_anything_in_common_are_refused) {
  const auto now = test::skerry_tracks({}, {"SKN"}, clock_of);
  const auto later = test::skerry_tracks({.first_day = 61400}, {"SKS"}, clock_of);
  EXPECT_THAT(test::sentence_of([&] { common_view(now[0], later[0], leap); }),
              HasSubstr("'SKN' and 'SKS' have no track of one satellite and signal in common"));
  EXPECT_THAT(test::sentence_of([&] { all_in_view(now[0], later[0], leap, {.system = "G", .code = "L3P"}); }),
              HasSubstr("have no tracks of G L3P at the same time"));
  EXPECT_THAT(test::sentence_of([&] { common_view(now[0], now[0], leap, {.floor_s = 0}); }),
              HasSubstr("not above 0"));
}

}  // namespace
}  // namespace firstedge
