// What is told of the course of a pair's difference, in sentences.
#include "firstedge/jitter/over_time_shown.hpp"

#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

Estimate scaled(const Estimate& estimate, double factor) {
  return {estimate.value * factor, estimate.uncertainty * factor, estimate.degrees_of_freedom};
}

std::string words_of(const RunClock& clock, const RunBlocks& blocks, const CourseStep& step) {
  // Within the blocks on either side of the likeliest places.
  return fmt::format(
      "the difference steps by {} at {} (between {} and {}): something was switched or touched.",
      format_estimate(step.size, "s"), clock.words_of_place(blocks.edge(step.at)),
      clock.words_of_place(blocks.edge(step.low) - blocks.length),
      clock.words_of_place(blocks.edge(step.high) + blocks.length));
}

std::string words_of(const RunClock& clock, const RunBlocks& blocks, const CourseWarmUp& warm_up) {
  constexpr double settled = 5;  // time constants; 0.7 % is left
  const Estimate length = scaled(warm_up.time_constant, blocks.length);
  return fmt::format(
      "the difference settles from {} on, as after switching on: {} at the beginning, with a time constant "
      "of {}; after "
      "{} less than 1 % of it is left.",
      clock.words_of_place(blocks.edge(warm_up.start)), format_estimate(warm_up.size, "s"),
      clock.words_of_length(length), clock.words_of_length({settled * length.value, std::nan("")}));
}

std::string words_of(const RunClock& clock, const RunBlocks& blocks, const CourseDrift& drift) {
  const double unit = clock.by_time() ? 3600 : 1000;
  return fmt::format("the difference drifts evenly by {} {}, in all by {} over the run.",
                     format_estimate(scaled(drift.slope, unit / blocks.length), "s"),
                     clock.by_time() ? "an hour" : "in 1000 records",
                     format_estimate(scaled(drift.slope, static_cast<double>(blocks.size())), "s"));
}

}  // namespace

std::vector<std::string> words_of_course(const RunClock& clock, const OverTime& found) {
  std::vector<std::string> sentences;
  for (const CourseWarmUp& warm_up : found.course.warm_ups)
    sentences.push_back(words_of(clock, found.blocks, warm_up));
  for (const CourseStep& step : found.course.steps) sentences.push_back(words_of(clock, found.blocks, step));
  if (found.course.drift) sentences.push_back(words_of(clock, found.blocks, *found.course.drift));
  if (found.course.more_items)
    sentences.emplace_back(
        "the difference has more steps than are told here; look at the plot of its course.");
  constexpr double clear = 1e-3;
  if (found.course.wander_probability < clear)
    sentences.push_back(fmt::format(
        "{} wanders, by some {} from one block of {} to the next: the standard error of its mean is too "
        "small.",
        sentences.empty() ? "the difference" : "the difference also",
        format_quantity(found.course.wander, "s", 3),
        clock.words_of_length({found.blocks.length, std::nan("")})));
  return sentences;
}

}  // namespace firstedge
