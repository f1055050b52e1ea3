#include "firstedge/delay/travelling_clock.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/least_squares.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include <Eigen/Dense>
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
  double middle_s = 0, first_s = 0, last_s = 0;
  std::size_t clock_parameters = 2;
};

Trip trip_of(const std::vector<ClockVisit>& visits, const std::string& home, bool drift) {
  Trip trip{.clock_parameters = drift ? 3U : 2U};
  const auto [first, last] = std::minmax_element(
      visits.begin(), visits.end(), [](const auto& a, const auto& b) { return a.time_s < b.time_s; });
  trip.first_s = first->time_s;
  trip.last_s = last->time_s;
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

// (C^-1 r)_i of the residuals r and the covariance C of the visits: times the variance of a reading it is the
// likeliest error of that reading, times the wander's covariance with any time the likeliest wander there (A.
// S. Goldberger, J. Am. Stat. Assoc. 57 (1962) 369; from memory).
std::vector<double> weighted_residuals(const std::vector<double>& residuals,
                                       const std::vector<double>& covariance) {
  const auto size = static_cast<Eigen::Index>(residuals.size());
  const Eigen::Map<const Eigen::VectorXd> left(residuals.data(), size);
  const Eigen::Map<const Eigen::MatrixXd> spread(covariance.data(), size, size);  // symmetric
  const Eigen::VectorXd weighted = spread.llt().solve(left);
  return {weighted.begin(), weighted.end()};
}

// A visit that no other checks is taken as it is: the likeliest error of its reading is rounding.
std::vector<bool> checked_of(const std::vector<ClockVisit>& visits, const std::vector<double>& weighted) {
  constexpr double rounding = 1e-9;
  std::vector<bool> checked;
  for (std::size_t i = 0; i < visits.size(); ++i)
    checked.push_back(std::abs(weighted[i]) * visits[i].offset_s.uncertainty > rounding);
  return checked;
}

// Even times over the trip, those of the visits among them.
std::vector<double> course_times_s(const std::vector<ClockVisit>& visits, const Trip& trip) {
  constexpr int steps = 200;
  std::set<double> times_s;
  for (int i = 0; i <= steps; ++i)
    times_s.insert(trip.first_s + (trip.last_s - trip.first_s) * (static_cast<double>(i) / steps));
  for (const ClockVisit& visit : visits) times_s.insert(visit.time_s);
  return {times_s.begin(), times_s.end()};
}

std::vector<ClockReading> course_of(const std::vector<ClockVisit>& visits, const Trip& trip,
                                    const LinearFit& fit, const std::vector<double>& weighted,
                                    double white_frequency) {
  std::vector<ClockReading> course;
  for (const double time_s : course_times_s(visits, trip)) {
    const double t = time_s - trip.middle_s;
    double steady_s = fit.parameters[0] + fit.parameters[1] * t, wander_s = 0;
    if (trip.clock_parameters == 3) steady_s += 0.5 * fit.parameters[2] * t * t;
    for (std::size_t i = 0; i < visits.size(); ++i)
      wander_s += white_frequency * white_frequency * (std::min(time_s, visits[i].time_s) - trip.first_s) *
                  weighted[i];
    course.push_back({time_s, steady_s + wander_s, wander_s});
  }
  return course;
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
  const std::vector<double> covariance = covariance_of(visits, trip, options.white_frequency);
  const LinearFit fit = least_squares(design, values, covariance);
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
  const std::vector<double> weighted = weighted_residuals(found.residual_s, covariance);
  found.checked = checked_of(visits, weighted);
  found.course = course_of(visits, trip, fit, weighted, options.white_frequency);
  found.chi_square = fit.degrees_of_freedom > 0 ? fit.chi_square : 0;  // without the rounding
  found.degrees_of_freedom = fit.degrees_of_freedom;
  found.probability = fit.probability;
  return found;
}

}  // namespace firstedge
