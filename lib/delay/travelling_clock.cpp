#include "firstedge/delay/travelling_clock.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/least_squares.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_visits = 1000;

void check(const std::vector<ClockVisit>& visits, const std::string& home, bool drift) {
  if (visits.size() > most_visits)
    throw Error("visits", fmt::format("are {}", visits.size()), fmt::format("give at most {}", most_visits));
  std::set<double> at_home;
  bool elsewhere = false;
  for (std::size_t i = 0; i < visits.size(); ++i) {
    const ClockVisit& visit = visits[i];
    if (!std::isfinite(visit.time_s) || !std::isfinite(visit.offset_s.value) ||
        !(visit.offset_s.uncertainty > 0) || !std::isfinite(visit.offset_s.uncertainty))
      throw Error(fmt::format("visits, row {}", i + 1), "has no time, offset and positive uncertainty",
                  "give all three, or leave the row out");
    if (visit.station == home)
      at_home.insert(visit.time_s);
    else
      elsewhere = true;
  }
  const std::size_t needed = drift ? 3 : 2;
  if (at_home.size() < needed)
    throw Error(fmt::format("station '{}'", home), fmt::format("was visited at {} times", at_home.size()),
                fmt::format("compare there at {} times or more, before and after the others", needed));
  if (!elsewhere) throw Error("visits", fmt::format("are all at '{}'", home), "add those at another station");
}

struct Trip {
  std::vector<std::string> stations;  // but home
  double middle_s = 0, first_s = 0;
  std::size_t clock_parameters = 2;
};

Trip trip_of(const std::vector<ClockVisit>& visits, const std::string& home, bool drift) {
  Trip trip{.clock_parameters = drift ? 3U : 2U};
  const auto [first, last] = std::minmax_element(
      visits.begin(), visits.end(), [](const auto& a, const auto& b) { return a.time_s < b.time_s; });
  trip.first_s = first->time_s;
  trip.middle_s = first->time_s + 0.5 * (last->time_s - first->time_s);
  for (const ClockVisit& visit : visits) {
    if (visit.station != home &&
        std::find(trip.stations.begin(), trip.stations.end(), visit.station) == trip.stations.end())
      trip.stations.push_back(visit.station);
  }
  return trip;
}

std::vector<double> design_of(const std::vector<ClockVisit>& visits, const Trip& trip) {
  std::vector<double> design;
  for (const ClockVisit& visit : visits) {
    const double t = visit.time_s - trip.middle_s;
    design.push_back(1);
    design.push_back(t);
    if (trip.clock_parameters == 3) design.push_back(0.5 * t * t);
    for (const std::string& station : trip.stations) design.push_back(visit.station == station ? -1 : 0);
  }
  return design;
}

std::vector<double> covariance_of(const std::vector<ClockVisit>& visits, const Trip& trip,
                                  double white_frequency) {
  std::vector<double> covariance;
  for (std::size_t i = 0; i < visits.size(); ++i) {
    for (std::size_t j = 0; j < visits.size(); ++j) {
      const double common_s = std::min(visits[i].time_s, visits[j].time_s) - trip.first_s;
      const double own = i == j ? visits[i].offset_s.uncertainty * visits[i].offset_s.uncertainty : 0;
      covariance.push_back(own + white_frequency * white_frequency * common_s);
    }
  }
  return covariance;
}

double mean_time_s(const std::vector<ClockVisit>& visits, const std::string& station) {
  double sum = 0, count = 0;
  for (const ClockVisit& visit : visits) {
    if (visit.station != station) continue;
    sum += visit.time_s;
    ++count;
  }
  return sum / count;
}

}  // namespace

ClockTrip clock_trip(const std::vector<ClockVisit>& visits, const ClockTripOptions& options) {
  if (visits.empty()) throw Error("visits", "there are none", "give those at home and at another station");
  ClockTrip found{.home = options.home.empty() ? visits.front().station : options.home};
  check(visits, found.home, options.drift);
  const Trip trip = trip_of(visits, found.home, options.drift);
  const std::vector<double> design = design_of(visits, trip);
  std::vector<double> values;
  for (const ClockVisit& visit : visits) values.push_back(visit.offset_s.value);
  const LinearFit fit = least_squares(design, values, covariance_of(visits, trip, options.white_frequency));
  // The same weights without the wander say which part of the uncertainty it makes.
  const LinearFit steady = least_squares(design, values, covariance_of(visits, trip, 0));

  found.rate = fit.parameter(1);
  if (options.drift) found.drift_per_s = fit.parameter(2);
  for (std::size_t i = 0; i < trip.stations.size(); ++i) {
    const Estimate offset = fit.parameter(trip.clock_parameters + i);
    const double without = steady.parameter(trip.clock_parameters + i).uncertainty;
    const double wander2 = offset.uncertainty * offset.uncertainty - without * without;
    const auto count = std::count_if(visits.begin(), visits.end(), [&](const ClockVisit& visit) {
      return visit.station == trip.stations[i];
    });
    found.stations.push_back({trip.stations[i], offset, mean_time_s(visits, trip.stations[i]),
                              static_cast<std::size_t>(count), std::sqrt(std::max(0.0, wander2))});
  }
  const std::size_t columns = design.size() / visits.size();
  for (std::size_t i = 0; i < visits.size(); ++i) {
    double model = 0;
    for (std::size_t c = 0; c < columns; ++c) model += design[i * columns + c] * fit.parameters[c];
    found.residual_s.push_back(values[i] - model);
  }
  found.chi_square = fit.degrees_of_freedom > 0 ? fit.chi_square : 0;  // without the rounding
  found.degrees_of_freedom = fit.degrees_of_freedom;
  found.probability = fit.probability;
  return found;
}

Result analyse_clock_trip(const std::vector<ClockVisit>& visits, const ClockTripOptions& options) {
  const ClockTrip trip = clock_trip(visits, options);
  Result result{
      .kind = "travelling clock",
      .title = fmt::format("Clocks against {}", trip.home),
      .answer = {},
      .figures = {{"rate", "Rate of the portable clock", trip.rate, "s/s"},
                  {"chi_square", "Chi-square", {trip.chi_square, -1}, ""},
                  {"degrees_of_freedom", "Degrees of freedom", {trip.degrees_of_freedom, -1}, ""}},
      .tables = {},
      .plots = {},
      .warnings = {},
      .cautions = {"A rate of a station's own clock during the trip is in its offset, which holds for "
                   "the time of the visit."},
      .provenance = {}};
  if (options.drift)
    result.figures.insert(result.figures.begin() + 1,
                          {"drift", "Drift of its rate", trip.drift_per_s, "1/s"});
  Table stations{.key = "stations",
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
  for (const StationOffset& each : trip.stations) {
    stations.rows.push_back(
        {each.station, each.offset_s, each.wander_s, each.time_s, static_cast<double>(each.visits)});
    result.answer += fmt::format("{}{} − {} = {}", result.answer.empty() ? "" : "; ", each.station, trip.home,
                                 format_estimate(each.offset_s, "s"));
  }
  result.answer += ".";
  Table rows{.key = "visits",
             .title = "Visits",
             .note = "Residual: measured less fitted; a dash where no other visit checks this one.",
             .columns = {{"station", "Station", ""},
                         {"time", "Time", "s"},
                         {"offset", "Portable less station", "s"},
                         {"residual", "Residual", "s"}},
             .rows = {}};
  // A station visited once takes its reading as it is: what is left is rounding.
  constexpr double rounding = 1e-9;
  for (std::size_t i = 0; i < visits.size(); ++i) {
    const bool unchecked = std::abs(trip.residual_s[i]) < rounding * visits[i].offset_s.uncertainty;
    rows.rows.push_back({visits[i].station, visits[i].time_s, visits[i].offset_s,
                         unchecked ? std::nan("") : trip.residual_s[i]});
  }
  result.tables = {std::move(stations), std::move(rows)};
  if (trip.degrees_of_freedom < 1)
    result.warnings.emplace_back("nothing checks the trip: no visit more than it needs");
  else if (trip.probability < 0.05)
    result.warnings.emplace_back("the visits contradict a steady clock: fit a drift, or say how it wanders");
  if (options.white_frequency == 0)
    result.warnings.emplace_back("the portable clock was taken to keep its rate exactly between the visits");
  return result;
}

}  // namespace firstedge
