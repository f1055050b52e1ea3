// A travelling clock's trip as a Result.
#include "firstedge/delay/travelling_clock.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

Table stations_table(const ClockTrip& trip) {
  Table table{.key = "stations",
              .title = "Offsets",
              .note =
                  "Of each station's clock against home's; wander: the part of the uncertainty that the "
                  "portable clock's noise makes.",
              .columns = {{"station", "Station", ""},
                          {"offset", "Offset", "s"},
                          {"wander", "Part of the wander", "s"},
                          {"time", "At time", "s"},
                          {"visits", "Visits", ""}},
              .rows = {}};
  for (const StationOffset& each : trip.stations)
    table.rows.push_back(
        {each.station, each.offset_s, each.wander_s, each.time_s, static_cast<double>(each.visits)});
  return table;
}

Table visits_table(const std::vector<ClockVisit>& visits, const ClockTrip& trip) {
  Table table{.key = "visits",
              .title = "Visits",
              .note = "Residual: measured less fitted; a dash where no other visit checks this one.",
              .columns = {{"station", "Station", ""},
                          {"time", "Time", "s"},
                          {"offset", "Portable less station", "s"},
                          {"residual", "Residual", "s"}},
              .rows = {}};
  for (std::size_t i = 0; i < visits.size(); ++i)
    table.rows.push_back({visits[i].station, visits[i].time_s, visits[i].offset_s,
                          trip.checked[i] ? trip.residual_s[i] : std::nan("")});
  return table;
}

// The readings at one station as points with bars.
Series readings_at(const std::string& station, const std::vector<ClockVisit>& visits) {
  Series series{.label = "at " + station, .kind = Series::Kind::points};
  for (const ClockVisit& visit : visits) {
    if (visit.station != station) continue;
    series.x.push_back(visit.time_s);
    series.y.push_back(visit.offset_s.value);
    series.y_uncertainty.push_back(visit.offset_s.uncertainty);
  }
  return series;
}

Plot trip_plot(const std::vector<ClockVisit>& visits, const ClockTrip& trip) {
  Plot plot{.key = "trip",
            .title = "The portable clock on its trip",
            .caption = fmt::format(
                "Readings with their standard uncertainties, and what the portable clock would have read "
                "at {0} in between. The clock of another station is ahead of {0}'s by as much as its "
                "readings lie under the line. Look for visits to {0} before and after all others, and on "
                "the line.",
                trip.home),
            .x = {"Time", "s"},
            .y = {"Portable clock less station's", "s"},
            .series = {readings_at(trip.home, visits)},
            .markers = {}};
  Series course{.label = fmt::format("at {}, fitted", trip.home), .kind = Series::Kind::line};
  for (const ClockReading& reading : trip.course) {
    course.x.push_back(reading.time_s);
    course.y.push_back(reading.offset_s);
  }
  plot.series.push_back(std::move(course));
  for (const StationOffset& each : trip.stations) plot.series.push_back(readings_at(each.station, visits));
  return plot;
}

Plot residuals_plot(const std::vector<ClockVisit>& visits, const ClockTrip& trip, bool wanders) {
  Plot plot{.key = "residuals",
            .title = "What rate and offsets leave of the readings",
            .caption =
                "Bars: standard uncertainties of the readings. Look for points that miss the line by "
                "more than two bars: a slip at that visit, or a clock that is not as steady as was "
                "said.",
            .x = {"Time", "s"},
            .y = {"Residual", "s"},
            .series = {},
            .markers = {{0, false, ""}}};
  std::vector<std::string> stations{trip.home};
  for (const StationOffset& each : trip.stations) stations.push_back(each.station);
  for (const std::string& station : stations) {
    Series series{.label = "at " + station, .kind = Series::Kind::points};
    for (std::size_t i = 0; i < visits.size(); ++i) {
      if (visits[i].station != station || !trip.checked[i]) continue;
      series.x.push_back(visits[i].time_s);
      series.y.push_back(trip.residual_s[i]);
      series.y_uncertainty.push_back(visits[i].offset_s.uncertainty);
    }
    if (!series.x.empty()) plot.series.push_back(std::move(series));
  }
  if (!wanders) return plot;
  Series wander{.label = "likeliest wander", .kind = Series::Kind::line};
  for (const ClockReading& reading : trip.course) {
    wander.x.push_back(reading.time_s);
    wander.y.push_back(reading.wander_s);
  }
  plot.series.push_back(std::move(wander));
  return plot;
}

std::string answer_of(const ClockTrip& trip) {
  std::string answer;
  for (const StationOffset& each : trip.stations)
    answer += fmt::format("{}{} − {} = {}", answer.empty() ? "" : "; ", each.station, trip.home,
                          format_estimate(each.offset_s, "s"));
  return answer + ".";
}

std::vector<std::string> warnings_of(const ClockTrip& trip, bool wanders) {
  std::vector<std::string> warnings;
  if (trip.degrees_of_freedom < 1)
    warnings.emplace_back("nothing checks the trip: no visit more than it needs");
  else if (trip.probability < 0.05)
    warnings.emplace_back("the visits contradict a steady clock: fit a drift, or say how it wanders");
  if (!wanders)
    warnings.emplace_back("the portable clock was taken to keep its rate exactly between the visits");
  return warnings;
}

}  // namespace

Result analyse_clock_trip(const std::vector<ClockVisit>& visits, const ClockTripOptions& options) {
  const ClockTrip trip = clock_trip(visits, options);
  const bool wanders = options.white_frequency > 0;
  Result result{
      .kind = "travelling clock",
      .title = fmt::format("Clocks against {}", trip.home),
      .answer = answer_of(trip),
      .figures = {{"rate", "Rate of the portable clock", trip.rate, "s/s"},
                  {"chi_square", "Chi-square", {trip.chi_square, -1}, ""},
                  {"degrees_of_freedom", "Degrees of freedom", {trip.degrees_of_freedom, -1}, ""}},
      .tables = {stations_table(trip), visits_table(visits, trip)},
      .plots = {trip_plot(visits, trip)},
      .warnings = warnings_of(trip, wanders),
      .cautions = {"A rate of a station's own clock during the trip is in its offset, which holds for "
                   "the time of the visit."},
      .provenance = {}};
  if (options.drift)
    result.figures.insert(result.figures.begin() + 1,
                          {"drift", "Drift of its rate", trip.drift_per_s, "1/s"});
  if (trip.degrees_of_freedom > 0) result.plots.push_back(residuals_plot(visits, trip, wanders));
  return result;
}

}  // namespace firstedge
