// The plots of the part 'over time'.
#include "firstedge/jitter/over_time_shown.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// Points with bars are told apart up to about this many.
constexpr std::size_t most_shown = 128;

// Means of neighbouring blocks, so that no more are shown than can be told apart.
Series shown_means(const RunBlocks& blocks) {
  Series means{.label = "mean of neighbouring pairs", .kind = Series::Kind::points};
  const std::size_t together = (blocks.size() + most_shown - 1) / most_shown;
  for (std::size_t first = 0; first < blocks.size(); first += together) {
    double pairs = 0;
    double sum = 0;
    double place = 0;
    double origin = nan;
    for (std::size_t i = first; i < std::min(first + together, blocks.size()); ++i) {
      if (blocks.pairs[i] == 0) continue;
      if (std::isnan(origin)) origin = blocks.mean_s[i];
      const auto weight = static_cast<double>(blocks.pairs[i]);
      pairs += weight;
      sum += weight * (blocks.mean_s[i] - origin);
      place += weight * blocks.middle(i);
    }
    if (pairs == 0) continue;
    means.x.push_back(place / pairs);
    means.y.push_back(origin + sum / pairs);
    means.y_uncertainty.push_back(blocks.scatter_s / std::sqrt(pairs));
  }
  return means;
}

// The level of the course, broken at steps.
Series level_line(const OverTime& found) {
  Series line{.label = "steps, warm-up and drift", .kind = Series::Kind::line};
  const RunBlocks& blocks = found.blocks;
  for (std::size_t i = 0; i < found.course.level.size(); ++i) {
    const bool steps = std::any_of(found.course.steps.begin(), found.course.steps.end(),
                                   [&](const CourseStep& step) { return step.at == i; });
    if (steps) {
      line.x.push_back(blocks.edge(i));
      line.y.push_back(nan);
    }
    line.x.push_back(blocks.middle(i));
    line.y.push_back(found.course.level[i]);
  }
  return line;
}

std::string along(const RunClock& clock) {
  return clock.by_time() ? "Time since the first trigger" : "Record";
}

std::string averaging(const RunClock& clock) {
  return clock.by_time() ? "Averaging time" : "Averaging, records";
}

Series deviations(std::span<const StabilityEstimate> estimates) {
  Series points{.label = "measured, with its interval", .kind = Series::Kind::points};
  for (const StabilityEstimate& estimate : estimates) {
    if (!(estimate.point.deviation > 0)) continue;  // no place on a logarithmic axis
    points.x.push_back(estimate.point.averaging_time_s);
    points.y.push_back(estimate.point.deviation);
    points.y_low.push_back(estimate.interval.low);
    points.y_high.push_back(estimate.interval.high);
  }
  return points;
}

// A deviation for pairs without memory at the averaging times that were measured.
Series guide(std::span<const StabilityEstimate> estimates, const auto& deviation_at) {
  Series line{.label = "pairs independent of each other", .kind = Series::Kind::line};
  for (const StabilityEstimate& estimate : estimates) {
    line.x.push_back(estimate.point.averaging_time_s);
    line.y.push_back(deviation_at(estimate.point.averaging_time_s));
  }
  return line;
}

}  // namespace

Plot course_plot(const RunClock& clock, const PairOverTime& pair, std::size_t number) {
  const OverTime& found = pair.found;
  Plot plot{.key = fmt::format("course_{}", number),
            .title = "Difference along the run, " + pair.name,
            .caption =
                "Look for: points on a flat line within their bars. A course is a delay that moves "
                "(temperature, warm-up); a step is something that was touched. Bars: the scatter of "
                "single pairs over the root of their number.",
            .x = {along(clock), clock.unit()},
            .y = {"Mean difference " + pair.name, "s"}};
  plot.series.push_back(shown_means(found.blocks));
  const Course& course = found.course;
  if (!course.steps.empty() || !course.warm_ups.empty() || course.drift)
    plot.series.push_back(level_line(found));
  for (const CourseStep& step : course.steps)
    plot.markers.push_back({found.blocks.edge(step.at), true, "step " + format_estimate(step.size, "s")});
  for (const CourseWarmUp& warm_up : course.warm_ups)
    plot.markers.push_back(
        {found.blocks.edge(warm_up.start), true, "settling " + format_estimate(warm_up.size, "s")});
  return plot;
}

Plot time_deviation_plot(const RunClock& clock, const PairOverTime& pair, std::size_t number) {
  const OverTime& found = pair.found;
  const StabilityEstimate* steadiest = found.steadiest();
  Plot plot{.key = fmt::format("time_deviation_{}", number),
            .title = "Time deviation, " + pair.name,
            .caption =
                "Look for: points on the line, where averaging more pairs keeps helping. Where they "
                "leave it the delay moves; beyond the lowest point averaging makes things worse.",
            .x = {averaging(clock), clock.unit(), true},
            .y = {"Time deviation", "s", true}};
  if (steadiest != nullptr)
    plot.caption += fmt::format(" Lowest: {} at {}.", format_quantity(steadiest->point.deviation, "s", 3),
                                clock.words_of_length({steadiest->point.averaging_time_s, nan}));
  plot.series.push_back(deviations(found.time_deviation));
  plot.series.push_back(
      guide(found.time_deviation, [&](double time) { return found.time_deviation_of_scatter_s(time); }));
  return plot;
}

Plot allan_deviation_plot(const RunClock& clock, const PairOverTime& pair, std::size_t number) {
  const OverTime& found = pair.found;
  Plot plot{.key = fmt::format("allan_deviation_{}", number),
            .title = "Overlapping Allan deviation, " + pair.name,
            .caption =
                "Look for: a fall as 1/averaging time while the pairs' noise rules, a slower one where "
                "the delay wanders, a flat or rising end where it drifts.",
            .x = {averaging(clock), clock.unit(), true},
            .y = {clock.by_time() ? "Allan deviation" : "Allan deviation, per record",
                  clock.by_time() ? "" : "s", true}};
  plot.series.push_back(deviations(found.allan_deviation));
  // White phase noise: sqrt 3 times the deviation of a block over the averaging time (SP 1065).
  const double of_block = found.time_deviation_of_scatter_s(found.blocks.length);
  plot.series.push_back(
      guide(found.allan_deviation, [&](double time) { return std::sqrt(3.0) * of_block / time; }));
  return plot;
}

}  // namespace firstedge
