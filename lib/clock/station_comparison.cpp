#include "firstedge/clock/station_comparison.hpp"

#include "firstedge/clock/station_comparison_parts.hpp"
#include "firstedge/clock/track_schedule.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// All in view where the stations have enough tracks of that signal at the same starts; common view comes
// first.
std::vector<ComparedLink> compared(const std::vector<StationTracks>& stations,
                                   const LeapSeconds& leap_seconds, const TrackChoice& choice) {
  std::vector<ComparedLink> links;
  links.push_back({"common view", common_view(stations[0], stations[1], leap_seconds, choice), {}});
  links.push_back({"all in view", all_in_view(stations[0], stations[1], leap_seconds, choice), {}});
  for (ComparedLink& one : links) one.course = link_course(one.link.points);
  return links;
}

std::uint64_t off_schedule(const StationTracks& station) {
  std::map<std::int64_t, std::vector<std::int64_t>> starts;  // by day
  std::uint64_t off = 0;
  for (const SatelliteTrack& track : station.tracks) {
    const std::int64_t day = track.start.seconds / 86400;
    auto& of_day = starts[day];
    if (of_day.empty()) of_day = track_starts(day + 40587);
    off += std::binary_search(of_day.begin(), of_day.end(), track.start.seconds % 86400) ? 0 : 1;
  }
  return off;
}

void add_cautions(Result& result, const std::vector<StationTracks>& stations, const ComparedLink& main,
                  const LeapSeconds& leap_seconds) {
  for (const StationTracks& station : stations) {
    const std::uint64_t off = off_schedule(station);
    if (off > 0)
      result.cautions.push_back(fmt::format("{}: {} of {} tracks do not start on the common schedule.",
                                            station.station, off, station.tracks.size()));
  }
  const Instant last = leap_seconds.utc_of_tai(advanced(main.link.begin, main.link.points.back().time_s));
  if (!leap_seconds.covers(last))
    result.warnings.push_back(
        "Tracks lie beyond the end of the table of leap seconds: " + leap_seconds.words() + ".");
  constexpr double far_from_the_others = 5;
  for (const SatelliteShare& share : main.link.satellites) {
    const double pull = share.residual_s.value / share.residual_s.uncertainty;
    if (std::abs(pull) > far_from_the_others)
      result.warnings.push_back(
          fmt::format("{} keeps {} beside the other satellites ({:.1f} standard errors).",
                      to_text(share.satellite), format_estimate(share.residual_s, "s"), std::abs(pull)));
  }
  if (main.link.scale > 2)
    result.cautions.push_back(
        fmt::format("The satellites scatter {:.1f} times as much as their tracks' own residuals expect; "
                    "uncertainties are "
                    "scaled accordingly.",
                    main.link.scale));
}

// The link's standard uncertainty from its type A part and the calibration's.
Estimate offset_with_link(const LinkCourse& course, double calibration_s) {
  const double type_a = std::isnan(course.type_a_s) ? course.offset_s.uncertainty
                                                    : std::max(course.type_a_s, course.offset_s.uncertainty);
  return {course.offset_s.value, std::isnan(calibration_s) ? type_a : std::hypot(type_a, calibration_s)};
}

void add_figures(Result& result, const ComparedLink& main, double calibration_s) {
  const LinkCourse& course = main.course;
  result.figures = {
      {"offset", "Offset at the middle of the run", offset_with_link(course, calibration_s), "s"},
      {"rate", "Rate", course.rate, ""},
      {"type_a", "Type A: largest time deviation", {course.type_a_s, nan}, "s"},
      {"type_b", "Type B: delays", {calibration_s, nan}, "s"},
      {"residual", "Scatter about the line", {course.residual_deviation_s, nan}, "s"},
      {"points", "Starts of tracks", {static_cast<double>(main.link.points.size()), nan}, ""}};
}

void add_closure(Result& result, const std::vector<StationTracks>& stations, const StationLink& first,
                 const LeapSeconds& leap_seconds, const TrackChoice& choice) {
  const std::vector<StationLink> links{first, common_view(stations[1], stations[2], leap_seconds, choice),
                                       common_view(stations[2], stations[0], leap_seconds, choice)};
  const LinkClosure sum = closure(links[0], links[1], links[2]);
  result.tables.push_back(closure_table(links, sum));
  if (sum.points.empty()) {
    result.warnings.emplace_back("The three stations share no start of tracks: there is no closure.");
    return;
  }
  result.figures.push_back({"closure", "Closure over three stations", sum.mean_s, "s"});
  const auto is_open = [](const LinkPoint& point) { return point.difference_s.value != 0; };
  if (std::any_of(sum.points.begin(), sum.points.end(), is_open))
    result.plots.push_back(closure_plot(first, sum, leap_seconds));
  constexpr double not_closed = 3;
  if (std::abs(sum.mean_s.value) > not_closed * sum.mean_s.uncertainty)
    result.warnings.push_back(
        fmt::format("The three differences do not close: {} is left.", format_estimate(sum.mean_s, "s")));
}

Estimate size_of(const Estimate& estimate) {
  return {std::abs(estimate.value), estimate.uncertainty, estimate.degrees_of_freedom};
}

}  // namespace

Result compare_stations(const std::vector<StationTracks>& stations, const LeapSeconds& leap_seconds,
                        const StationComparisonOptions& options) {
  if (stations.size() < 2 || stations.size() > 3)
    throw Error("stations", fmt::format("{} are given", stations.size()), "give two, or three for a closure");
  const std::vector<ComparedLink> links = compared(stations, leap_seconds, options.choice);
  const ComparedLink& main = links.front();
  TrackChoice choice = options.choice;
  choice.system = main.link.system;
  choice.code = main.link.code;
  Result result{.kind = "station comparison",
                .title = fmt::format("Clocks of {} and {}", main.link.first, main.link.second)};
  add_figures(result, main, options.calibration_uncertainty_s);
  const Instant middle = leap_seconds.utc_of_tai(advanced(main.link.begin, main.course.middle_s));
  const bool known = !std::isnan(options.calibration_uncertainty_s);
  const Estimate& offset = result.figures.front().estimate;
  result.answer = fmt::format("The clock of {} was {} {} that of {} at {} UTC{}.", main.link.first,
                              format_estimate(size_of(offset), "s"), offset.value < 0 ? "behind" : "ahead of",
                              main.link.second, to_text(middle).substr(0, 19),
                              known ? "" : ", the delays' uncertainty not included");
  if (!known)
    result.warnings.emplace_back(
        "The uncertainty of the stations' delays is not given: errors of delays do not show in any figure "
        "here.");
  add_cautions(result, stations, main, leap_seconds);
  result.tables = {links_table(links), tracks_table(links), satellites_table(main.link),
                   time_deviation_table(links), stations_table(stations)};
  result.plots = {link_plot(links, options.smoothing_half_width_s, leap_seconds),
                  link_residual_plot(links, options.smoothing_half_width_s, leap_seconds),
                  link_deviation_plot(links), satellites_plot(main.link)};
  if (stations.size() == 3) add_closure(result, stations, main.link, leap_seconds, choice);
  return result;
}

}  // namespace firstedge
