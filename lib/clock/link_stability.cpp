#include "firstedge/clock/link_stability.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

void fit_line(LinkCourse& course, std::span<const LinkPoint> points) {
  double weights = 0, time = 0, value = 0;
  const double origin = points.front().difference_s.value;
  for (const LinkPoint& point : points) {
    const double weight = 1 / (point.difference_s.uncertainty * point.difference_s.uncertainty);
    weights += weight;
    time += weight * point.time_s;
    value += weight * (point.difference_s.value - origin);
  }
  course.middle_s = time / weights;
  const double mean = value / weights;
  double time_time = 0, time_value = 0;
  for (const LinkPoint& point : points) {
    const double weight = 1 / (point.difference_s.uncertainty * point.difference_s.uncertainty);
    const double t = point.time_s - course.middle_s;
    time_time += weight * t * t;
    time_value += weight * t * (point.difference_s.value - origin - mean);
  }
  course.offset_s.value = origin + mean;
  course.rate.value = time_value / time_time;
  double chi_square = 0, squares = 0;
  for (const LinkPoint& point : points) {
    const double left = point.difference_s.value - course.offset_s.value -
                        course.rate.value * (point.time_s - course.middle_s);
    squares += left * left;
    chi_square += left * left / (point.difference_s.uncertainty * point.difference_s.uncertainty);
  }
  const double degrees = static_cast<double>(points.size()) - 2;
  const double scale = std::sqrt(chi_square / degrees);
  course.residual_deviation_s = std::sqrt(squares / degrees);
  course.offset_s.uncertainty = scale / std::sqrt(weights);
  course.offset_s.degrees_of_freedom = degrees;
  course.rate.uncertainty = scale / std::sqrt(time_time);
  course.rate.degrees_of_freedom = degrees;
}

// What is left of the line, at even places; NaN where no track started.
std::vector<double> on_a_grid(const LinkCourse& course, std::span<const LinkPoint> points) {
  const double begin = points.front().time_s;
  constexpr double most_places = 1e7;  // 300 years of tracks
  const double last = std::round((points.back().time_s - begin) / track_spacing_s);
  if (last > most_places)
    throw Error("link",
                fmt::format("{} s lie between the first and the last track", points.back().time_s - begin),
                "check the dates of the files");
  std::vector<double> grid(static_cast<std::size_t>(last) + 1, nan);
  for (const LinkPoint& point : points) {
    const auto place = static_cast<std::size_t>(std::round((point.time_s - begin) / track_spacing_s));
    grid.at(place) = point.difference_s.value - course.offset_s.value -
                     course.rate.value * (point.time_s - course.middle_s);
  }
  return grid;
}

}  // namespace

LinkCourse link_course(std::span<const LinkPoint> points) {
  constexpr std::size_t fewest_for_line = 3, fewest_for_deviation = 16;
  if (points.size() < fewest_for_line)
    throw Error("link", fmt::format("has only {} points in time", points.size()), "give more tracks");
  LinkCourse course;
  fit_line(course, points);
  course.type_a_s = nan;
  if (points.size() < fewest_for_deviation) return course;
  const std::vector<double> grid = on_a_grid(course, points);
  course.time_deviation = stability(grid, track_spacing_s, {.measure = StabilityMeasure::time});
  const double longest_s = 0.25 * static_cast<double>(grid.size()) * track_spacing_s;
  for (const StabilityEstimate& one : course.time_deviation) {
    if (one.point.averaging_time_s > longest_s || !std::isfinite(one.point.deviation)) continue;
    course.type_a_s =
        std::isnan(course.type_a_s) ? one.point.deviation : std::max(course.type_a_s, one.point.deviation);
  }
  return course;
}

}  // namespace firstedge
