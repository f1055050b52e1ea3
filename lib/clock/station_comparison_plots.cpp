#include "firstedge/clock/station_comparison_parts.hpp"
#include "firstedge/clock/time_scales.hpp"

#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Points with bars are told apart up to about this many; more are thinned evenly.
constexpr std::size_t most_shown = 1000;

std::size_t thinning(std::size_t points) {
  return (points + most_shown - 1) / most_shown;
}

constexpr const char* date_label = "Modified Julian Date, UTC";

// A straight line in seconds since the first link's begin.
struct Line {
  double offset_s = 0, rate = 0;
  double at(double time_s) const { return offset_s + rate * time_s; }
};

// Points of all links, the first with bars and in front, and its smoothed course.
void add_course(Plot& plot, const std::vector<ComparedLink>& links, double half_width_s,
                const LeapSeconds& leap_seconds, const Line& line) {
  const StationLink& main = links.front().link;
  for (std::size_t i = links.size(); i-- > 0;) {
    const StationLink& link = links[i].link;
    const double later_s = difference_s(link.begin, main.begin);
    Series points{.label = links[i].way, .kind = Series::Kind::points, .faint = i > 0};
    const std::size_t step = thinning(link.points.size());
    for (std::size_t k = 0; k < link.points.size(); k += step) {
      const LinkPoint& point = link.points[k];
      points.x.push_back(date_of(link, point.time_s, leap_seconds));
      points.y.push_back(point.difference_s.value - line.at(point.time_s + later_s));
      if (i == 0) points.y_uncertainty.push_back(point.difference_s.uncertainty);
    }
    if (step > 1) points.label += fmt::format(", one in {}", step);
    plot.series.push_back(std::move(points));
  }
  if (!(half_width_s > 0)) return;
  Series course{.label = "common view, smoothed", .kind = Series::Kind::line};
  for (const LinkPoint& point : smoothed(main.points, half_width_s)) {
    course.x.push_back(date_of(main, point.time_s, leap_seconds));
    course.y.push_back(point.difference_s.value - line.at(point.time_s));
  }
  plot.series.push_back(std::move(course));
}

}  // namespace

double date_of(const StationLink& link, double time_s, const LeapSeconds& leap_seconds) {
  const ModifiedJulianDate date = modified_julian_date(leap_seconds.utc_of_tai(advanced(link.begin, time_s)));
  return static_cast<double>(date.day) +
         (static_cast<double>(date.second) + static_cast<double>(date.femtoseconds) * 1e-15) / 86400;
}

Plot link_plot(const std::vector<ComparedLink>& links, double half_width_s, const LeapSeconds& leap_seconds) {
  const StationLink& main = links.front().link;
  Plot plot{
      .key = "difference",
      .title = fmt::format("Clock of {} less clock of {}", main.first, main.second),
      .caption =
          "Look for: points about a straight line. A step is a delay or a clock that was touched. Bars: "
          "standard uncertainty by the scatter of the satellites at each start.",
      .x = {date_label, ""},
      .y = {fmt::format("{} − {}", main.first, main.second), "s"}};
  add_course(plot, links, half_width_s, leap_seconds, {0, 0});
  return plot;
}

Plot link_residual_plot(const std::vector<ComparedLink>& links, double half_width_s,
                        const LeapSeconds& leap_seconds) {
  const auto& [way, main, course] = links.front();
  Plot plot{.key = "difference_residual",
            .title = fmt::format("{} less {}, the straight line taken out", main.first, main.second),
            .caption =
                "Look for: a flat band. A wave of a day is temperature, or paths past the same obstacles; a "
                "bend is "
                "a clock whose rate changed.",
            .x = {date_label, ""},
            .y = {"Difference less line", "s"}};
  add_course(plot, links, half_width_s, leap_seconds,
             {course.offset_s.value - course.rate.value * course.middle_s, course.rate.value});
  return plot;
}

Plot link_deviation_plot(const std::vector<ComparedLink>& links) {
  Plot plot{.key = "time_deviation",
            .title = "Time deviation of the link",
            .caption =
                "Look for: points on the line, where averaging more tracks keeps helping. Where they leave "
                "it, slow "
                "errors of the link or the clocks themselves rule.",
            .x = {"Averaging time", "s", true},
            .y = {"Time deviation", "s", true}};
  for (const auto& [way, link, course] : links) {
    Series points{.label = way, .kind = Series::Kind::points};
    Series white{.label = "white noise", .kind = Series::Kind::line};
    for (const StabilityEstimate& estimate : course.time_deviation) {
      if (!(estimate.point.deviation > 0)) continue;  // no place on a logarithmic axis
      points.x.push_back(estimate.point.averaging_time_s);
      points.y.push_back(estimate.point.deviation);
      points.y_low.push_back(estimate.interval.low);
      points.y_high.push_back(estimate.interval.high);
      white.x.push_back(estimate.point.averaging_time_s);
      white.y.push_back(course.time_deviation.front().point.deviation *
                        std::sqrt(track_spacing_s / estimate.point.averaging_time_s));
    }
    plot.series.push_back(std::move(points));
    if (&link == &links.front().link) plot.series.push_back(std::move(white));
  }
  return plot;
}

Plot satellites_plot(const StationLink& link) {
  Plot plot{
      .key = "satellites",
      .title = "Mean residual of each satellite",
      .caption =
          "Look for: points at 0 within some two bars. One that stands off keeps an error of its own from "
          "track to track.",
      .x = {"Number of the satellite", ""},
      .y = {"Mean residual", "s"}};
  Series points{.label = "system " + link.system, .kind = Series::Kind::points};
  for (const SatelliteShare& share : link.satellites) {
    points.x.push_back(share.satellite.number);
    points.y.push_back(share.residual_s.value);
    points.y_uncertainty.push_back(share.residual_s.uncertainty);
  }
  plot.series.push_back(std::move(points));
  plot.markers.push_back({0, false, ""});
  return plot;
}

Plot closure_plot(const StationLink& first, const LinkClosure& sum, const LeapSeconds& leap_seconds) {
  Plot plot{.key = "closure",
            .title = "Closure over three stations",
            .caption =
                "Look for: points about 0. A course is an error that depends on which satellites two "
                "stations share.",
            .x = {date_label, ""},
            .y = {"Sum of the three differences", "s"}};
  Series points{.label = "sum", .kind = Series::Kind::points};
  const std::size_t step = thinning(sum.points.size());
  for (std::size_t k = 0; k < sum.points.size(); k += step) {
    points.x.push_back(date_of(first, sum.points[k].time_s, leap_seconds));
    points.y.push_back(sum.points[k].difference_s.value);
  }
  plot.series.push_back(std::move(points));
  plot.markers.push_back({0, false, ""});
  return plot;
}

}  // namespace firstedge
