#include "firstedge/clock/tie_result.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Row = std::vector<Table::Cell>;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t most_shown_points = 1000;

double number(std::uint64_t count) {
  return static_cast<double>(count);
}

std::string words_of(const CounterReading& reading) {
  std::string fraction = fmt::format("{}", reading.fraction);
  fraction = reading.fraction > 0 && fraction.starts_with("0.") ? fraction.substr(1) : "";
  return fmt::format("{}{}", reading.ticks, fraction);
}

const char* remark_of(const CounterInstant& found) {
  if (found.in_slip) return "where the counter jumped";
  return found.holdover ? "holdover" : "";
}

std::string words_of(const CounterSlip& slip) {
  switch (slip.kind) {
    case CounterSlip::Kind::whole_seconds:
      return fmt::format("{} whole seconds", slip.count);
    case CounterSlip::Kind::reference_periods:
      return fmt::format("{} reference periods", slip.count);
    case CounterSlip::Kind::other:
      break;
  }
  return "no whole number";
}

Table edges_table(const CounterClock& clock) {
  const EdgeAccount& account = clock.account();
  return {.key = "edges",
          .title = "What became of the edges",
          .note =
              "Given is used, wild, uncorrected, doubled and spurious together. Wild: on its second, but too "
              "far from "
              "its neighbours. Missed: seconds between edges that have none.",
          .columns = {{"given", "Given", ""},
                      {"used", "Used", ""},
                      {"wild", "Wild", ""},
                      {"uncorrected", "Without correction", ""},
                      {"unclear", "Unclear", ""},
                      {"doubled", "Doubled", ""},
                      {"spurious", "Spurious", ""},
                      {"missed", "Missed", ""},
                      {"labelled", "Labelled", ""},
                      {"labels_wrong", "Labels wrong", ""}},
          .rows = {Row{number(account.given), number(account.used), number(account.wild),
                       number(account.uncorrected), number(account.unclear), number(account.doubled),
                       number(account.spurious), number(account.missed), number(account.labelled),
                       number(account.labels_wrong)}}};
}

Table slips_table(const CounterClock& clock, std::span<const SecondEdge> edges,
                  const LeapSeconds& leap_seconds) {
  Table table{
      .key = "slips",
      .title = "Slips",
      .note =
          "Jumps of the counter against the edges, taken out. Positive: the counter gained, the edges come "
          "later by it. Between the two edges a time is uncertain by half of the jump.",
      .columns = {
          {"after", "After", ""}, {"edge", "Before edge", ""}, {"size", "Size", "s"}, {"meaning", "As", ""}}};
  for (const CounterSlip& slip : clock.slips()) {
    // The nearest second: the edge itself comes some ns early or late.
    const Instant before =
        leap_seconds.utc_of_tai(advanced(clock.at(edges[slip.edge_before].counter).tai, 0.5));
    table.rows.push_back(Row{to_text(before).substr(0, 19) + " UTC", number(slip.edge_after + 1), slip.size_s,
                             words_of(slip)});
  }
  return table;
}

Table readings_table(std::span<const TimedReading> readings, const LeapSeconds& leap_seconds) {
  Table table{.key = "readings",
              .title = "Readings",
              .note = readings.size() > most_shown_readings
                          ? fmt::format("The first {} of {}.", most_shown_readings, readings.size())
                          : "",
              .columns = {{"counter", "Counter", ""},
                          {"utc", "UTC", ""},
                          {"uncertainty", "Uncertainty", "s"},
                          {"from_edge", "From an edge", "s"},
                          {"remark", "Remark", ""}}};
  for (const auto& [reading, found] : readings.first(std::min(readings.size(), most_shown_readings)))
    table.rows.push_back(Row{words_of(reading), to_text(leap_seconds.utc_of_tai(found.tai)),
                             found.uncertainty_s, found.from_edge_s, std::string(remark_of(found))});
  return table;
}

Series course_series(const std::vector<CounterClock::Node>& nodes, const char* label, Series::Kind kind,
                     const auto& value) {
  Series series{.label = label, .kind = kind};
  const std::size_t step = (nodes.size() + most_shown_points - 1) / most_shown_points;
  for (std::size_t i = 0; i < nodes.size(); i += step) {
    series.x.push_back(nodes[i].time_s);
    series.y.push_back(value(nodes[i]));
  }
  if (step > 1) series.label += fmt::format(", one in {}", step);
  return series;
}

Plot offset_plot(const std::vector<CounterClock::Node>& nodes) {
  Plot plot{.key = "offset",
            .title = "True time less the counter's, its mean rate and its jumps taken out",
            .caption =
                "Look for: points scattered evenly about the line. A course that the line does not follow is "
                "a rate "
                "that changed at once; saw teeth are a receiver's quantisation that is not corrected.",
            .x = {"Time by the counter since the first second", "s"},
            .y = {"True less counter", "s"}};
  plot.series.push_back(course_series(nodes, "edges", Series::Kind::points,
                                      [](const CounterClock::Node& node) { return node.offset_s; }));
  plot.series.push_back(course_series(nodes, "model", Series::Kind::line,
                                      [](const CounterClock::Node& node) { return node.smoothed_s; }));
  return plot;
}

Plot residual_plot(const std::vector<CounterClock::Node>& nodes) {
  Plot plot{
      .key = "residuals",
      .title = "Edges less the model",
      .caption = "Look for: no pattern. The band is one standard deviation of an edge as the model has it.",
      .x = {"Time by the counter since the first second", "s"},
      .y = {"Edge less model", "s"}};
  plot.series.push_back(
      course_series(nodes, "edges", Series::Kind::points,
                    [](const CounterClock::Node& node) { return node.offset_s - node.smoothed_s; }));
  return plot;
}

Plot rate_plot(const std::vector<CounterClock::Node>& nodes) {
  Plot plot{.key = "rate",
            .title = "Rate of the counter",
            .caption = "Look for: a slow course. It is what holdover relies on.",
            .x = {"Time by the counter since the first second", "s"},
            .y = {"True over counter seconds, less 1", ""}};
  plot.series.push_back(course_series(nodes, "model", Series::Kind::line,
                                      [](const CounterClock::Node& node) { return node.rate; }));
  return plot;
}

// How uncertain a time is so long after the last edge.
std::vector<std::pair<double, double>> holdover(const CounterClock& clock, const SecondEdge& last,
                                                double rate_hz) {
  std::vector<std::pair<double, double>> grown;
  for (const double after_s : {1., 3., 10., 30., 100., 300., 1000., 3000., 10000., 30000., 86400.}) {
    CounterReading reading = last.counter;
    reading.ticks += std::llround(after_s * rate_hz);
    grown.emplace_back(after_s, clock.at(reading).uncertainty_s);
  }
  return grown;
}

Plot holdover_plot(const std::vector<std::pair<double, double>>& grown) {
  Plot plot{.key = "holdover",
            .title = "Uncertainty in holdover",
            .caption = "Look for: how long after the last edge a time is still as good as it must be.",
            .x = {"Time since the last edge", "s", true},
            .y = {"Standard uncertainty", "s", true}};
  Series line{.label = "by the model", .kind = Series::Kind::line};
  for (const auto& [after_s, uncertainty_s] : grown) {
    line.x.push_back(after_s);
    line.y.push_back(uncertainty_s);
  }
  plot.series.push_back(std::move(line));
  return plot;
}

void add_words(Result& result, const CounterClock& clock, const LeapSeconds& leap_seconds, double middle_s,
               const Instant& last) {
  const EdgeAccount& account = clock.account();
  result.answer = fmt::format(
      "Between edges a time is known to {} (standard uncertainty), from {} of {} edges with a scatter of {} "
      "each.",
      format_quantity(middle_s, "s", 3), account.used, account.given,
      format_quantity(clock.noise().edge_s, "s", 3));
  if (!clock.slips().empty())
    result.warnings.push_back(
        fmt::format("The counter jumped {} times: see the table of slips.", clock.slips().size()));
  const bool whole = std::any_of(clock.slips().begin(), clock.slips().end(), [](const CounterSlip& slip) {
    return slip.kind == CounterSlip::Kind::whole_seconds;
  });
  if (whole)
    result.warnings.emplace_back(
        "A whole second was lost by the counter or by the labels; the labels are believed. Check them.");
  if (account.labels_wrong > 0)
    result.warnings.push_back(fmt::format("{} of {} labels contradict the others and are not believed.",
                                          account.labels_wrong, account.labelled));
  if (!clock.corrected())
    result.cautions.emplace_back(
        "No correction for the receiver's quantisation is applied: times follow it where it moves slowly.");
  if (!leap_seconds.covers(leap_seconds.utc_of_tai(last)))
    result.warnings.push_back(
        "Edges lie beyond the end of the table of leap seconds: " + leap_seconds.words() + ".");
}

}  // namespace

std::vector<TimedReading> timed(const CounterClock& clock, std::span<const CounterReading> readings) {
  std::vector<TimedReading> all;
  for (const CounterReading& reading : readings) all.push_back({reading, clock.at(reading)});
  return all;
}

Result tie_result(const CounterClock& clock, std::span<const SecondEdge> edges,
                  std::span<const TimedReading> readings, const LeapSeconds& leap_seconds) {
  const std::vector<CounterClock::Node> nodes = clock.nodes();
  std::vector<double> uncertainties;
  for (const CounterClock::Node& node : nodes)
    uncertainties.push_back(clock.at(edges[node.edge].counter).uncertainty_s);
  const auto middle = uncertainties.begin() + static_cast<std::ptrdiff_t>(uncertainties.size() / 2);
  std::nth_element(uncertainties.begin(), middle, uncertainties.end());
  const SecondEdge& last = edges[nodes.back().edge];
  const CounterInstant end = clock.at(last.counter);

  Result result{.kind = "counter tied to UTC", .title = "Counter against pulses per second"};
  add_words(result, clock, leap_seconds, *middle, end.tai);
  const auto grown = holdover(clock, last, clock.rate_hz());
  result.figures = {
      {"uncertainty", "Uncertainty at an edge, median", {*middle, nan}, "s"},
      {"edge_noise", "Scatter of an edge", {clock.noise().edge_s, nan}, "s"},
      {"rate", "Rate at the end, relative", {nodes.back().rate, nodes.back().rate_uncertainty}, ""},
      {"phase_walk", "Walk of the phase in 1 s", {clock.noise().phase_walk, nan}, "s"},
      {"rate_walk", "Walk of the rate in 1 s", {clock.noise().rate_walk, nan}, ""},
      {"holdover_1000_s", "Uncertainty 1000 s after the last edge", {grown[6].second, nan}, "s"},
      {"slips", "Slips", {number(clock.slips().size()), nan}, ""}};
  result.tables.push_back(edges_table(clock));
  if (!clock.slips().empty()) result.tables.push_back(slips_table(clock, edges, leap_seconds));
  if (!readings.empty()) result.tables.push_back(readings_table(readings, leap_seconds));
  result.plots = {offset_plot(nodes), residual_plot(nodes), rate_plot(nodes), holdover_plot(grown)};
  const double edge_s = clock.noise().edge_s;
  result.plots[1].markers = {{edge_s, false, "one deviation of an edge"}, {-edge_s, false, ""}};
  return result;
}

std::string readings_text(std::span<const TimedReading> readings, const LeapSeconds& leap_seconds) {
  std::string text = "counter,utc,uncertainty_s,from_edge_s,remark\n";
  for (const auto& [reading, found] : readings)
    text += fmt::format("{},{},{},{},{}\n", words_of(reading), to_text(leap_seconds.utc_of_tai(found.tai)),
                        found.uncertainty_s, found.from_edge_s, remark_of(found));
  return text;
}

}  // namespace firstedge
