// The tables of the part 'over time'.
#include "firstedge/jitter/over_time_shown.hpp"

#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

std::string labelled(const RunClock& clock, const char* label) {
  return clock.by_time() ? label : fmt::format("{}, records", label);
}

double number(std::uint64_t count) {
  return static_cast<double>(count);
}

// As a text, since probabilities of one column span too many powers of ten for one factor.
std::string probability(double value) {
  return fmt::format("{:.2g}", value);
}

}  // namespace

Table blocks_table(const RunClock& clock, std::span<const PairOverTime> pairs) {
  Table table{
      .key = "over_time",
      .title = "Over time: the difference along the run",
      .note = fmt::format(
          "Means over even blocks of the run, {}. Wild: further than 5 scatters from the median of "
          "their block, left out. Scatter: of a single difference, from neighbouring pairs. Wander: the "
          "level's random step from block to block beside what the table of its course tells, with the "
          "probability of seeming so large in noise alone.",
          clock.by_time() ? "by the instants of the triggers" : "by the numbers of the records"),
      .columns = {{"pair", "Pair", ""},
                  {"blocks", "Blocks", ""},
                  {"empty", "Of these empty", ""},
                  {"length", labelled(clock, "Length of a block"), clock.unit()},
                  {"pairs_used", "Pairs used", ""},
                  {"wild", "Wild", ""},
                  {"without_instant", "Without instant", ""},
                  {"scatter", "Scatter", "s"},
                  {"wander", "Wander", "s"},
                  {"wander_probability", "Probability", ""}}};
  for (const auto& [name, found] : pairs) {
    const RunBlocks& blocks = found.blocks;
    table.rows.push_back(Row{name, number(blocks.size()), number(blocks.size() - blocks.filled()),
                             blocks.length, number(blocks.used), number(blocks.wild),
                             number(blocks.without_place), blocks.scatter_s, found.course.wander,
                             probability(found.course.wander_probability)});
  }
  return table;
}

namespace {

// One row a pair and averaging time, of deviations with this unit.
Table deviations_table(const RunClock& clock, const char* deviation, const char* unit) {
  return {.columns = {{"pair", "Pair", ""},
                      {"averaging_time", labelled(clock, "Averaging time"), clock.unit()},
                      {"deviation", deviation, unit},
                      {"low", "from", unit},
                      {"high", "to", unit},
                      {"terms", "Terms", ""},
                      {"degrees_of_freedom", "Degrees of freedom", ""},
                      {"noise", "Noise", ""}}};
}

void add_deviations(Table& table, const std::string& pair, std::span<const StabilityEstimate> estimates) {
  for (const auto& [point, noise, freedom, interval] : estimates)
    table.rows.push_back(Row{pair, point.averaging_time_s, point.deviation, interval.low, interval.high,
                             number(point.terms), freedom,
                             std::string(noise ? words_of(*noise) : "not known")});
}

std::string words_of_coverage(double coverage) {
  return fmt::format(
      "Of the blocks' means. Intervals hold the truth in {:.1f} % of cases, by the noise type "
      "at that averaging time; neighbouring rows share data. ",
      100 * coverage);
}

}  // namespace

Table time_deviations_table(const RunClock& clock, std::span<const PairOverTime> pairs, double coverage) {
  Table table = deviations_table(clock, "Time deviation", "s");
  table.key = "time_deviations";
  table.title = "Time deviation";
  table.note =
      words_of_coverage(coverage) +
      "The time deviation is what means over that length scatter by; it falls as the root of the length "
      "while pairs are independent of each other.";
  for (const auto& [name, found] : pairs) add_deviations(table, name, found.time_deviation);
  return table;
}

Table allan_deviations_table(const RunClock& clock, std::span<const PairOverTime> pairs, double coverage) {
  Table table = clock.by_time() ? deviations_table(clock, "Allan deviation", "")
                                : deviations_table(clock, "Allan deviation, per record", "s");
  table.key = "allan_deviations";
  table.title = "Overlapping Allan deviation";
  table.note = words_of_coverage(coverage) +
               "How fast the difference changes from one stretch of that length to the next.";
  for (const auto& [name, found] : pairs) add_deviations(table, name, found.allan_deviation);
  return table;
}

Table course_table(const RunClock& clock, std::span<const PairOverTime> pairs) {
  Table table{.key = "course",
              .title = "Steps, warm-up and drift",
              .note = fmt::format(
                  "Size of a step: after less before; of a warm-up: at its beginning, falling as "
                  "exp(-t/time constant); of a drift: over the whole run. Probability: of one so clear in "
                  "noise and wander alone, at most. Places are {}.",
                  clock.by_time() ? "seconds from the first trigger" : "numbers of records"),
              .columns = {{"pair", "Pair", ""},
                          {"what", "What", ""},
                          {"at", "At", clock.unit()},
                          {"at_low", "from", clock.unit()},
                          {"at_high", "to", clock.unit()},
                          {"size", "Size", "s"},
                          {"time_constant", labelled(clock, "Time constant"), clock.unit()},
                          {"probability", "Probability", ""}}};
  for (const auto& [name, found] : pairs) {
    const RunBlocks& blocks = found.blocks;
    const auto scaled = [](const Estimate& estimate, double factor) {
      return Estimate{estimate.value * factor, estimate.uncertainty * factor, estimate.degrees_of_freedom};
    };
    for (const CourseWarmUp& warm_up : found.course.warm_ups)
      table.rows.push_back(Row{name, std::string("warm-up"), blocks.edge(warm_up.start), nan, nan,
                               warm_up.size, scaled(warm_up.time_constant, blocks.length),
                               probability(warm_up.probability)});
    for (const CourseStep& step : found.course.steps)
      table.rows.push_back(Row{name, std::string("step"), blocks.edge(step.at),
                               blocks.edge(step.low) - blocks.length, blocks.edge(step.high) + blocks.length,
                               step.size, nan, probability(step.probability)});
    if (found.course.drift)
      table.rows.push_back(Row{name, std::string("drift"), nan, nan, nan,
                               scaled(found.course.drift->slope, static_cast<double>(blocks.size())), nan,
                               probability(found.course.drift->probability)});
  }
  if (table.rows.empty()) table.note = "None is clear. " + table.note;
  return table;
}

}  // namespace firstedge
