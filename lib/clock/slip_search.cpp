#include "firstedge/clock/slip_search.hpp"

#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// Series without noise have this one, so that nothing is divided by 0.
constexpr double smallest_deviation_s = 1e-15;

// Up to `most` used edges from `from` on (back from it, if backward) within [begin, end).
std::vector<std::size_t> used_near(const PhaseSeries& series, std::size_t from, bool backward,
                                   std::size_t begin, std::size_t end, std::size_t most) {
  std::vector<std::size_t> near;
  if (backward) {
    for (std::size_t i = from; i-- > begin && near.size() < most;)
      if (series.used[i]) near.push_back(i);
  } else {
    for (std::size_t i = from; i < end && near.size() < most; ++i)
      if (series.used[i]) near.push_back(i);
  }
  return near;
}

// Deviation of one edge, from the differences of neighbours: not moved by jumps and slow courses.
double edge_deviation(const PhaseSeries& series) {
  std::vector<double> differences;
  double last = nan;
  for (std::size_t i = 0; i < series.size(); ++i) {
    if (!series.used[i]) continue;
    differences.push_back((series.phase_s[i] - last) / std::sqrt(2.0));
    last = series.phase_s[i];
  }
  return std::max(scaled_median_deviation(differences), smallest_deviation_s);
}

// Where the phase jumps, beside both ends of the series.
std::vector<std::size_t> walls(const std::vector<PhaseSlip>& slips, std::size_t size) {
  std::vector<std::size_t> at{0};
  for (const PhaseSlip& slip : slips) at.push_back(slip.at);
  at.push_back(size);
  return at;
}

void take_out(PhaseSeries& series, std::size_t at, double size_s) {
  for (std::size_t i = at; i < series.size(); ++i) series.phase_s[i] -= size_s;
}

// Measures each jump between its neighbours and takes what is left of it out.
void measure(SlipSearch& search, double deviation_s) {
  for (std::size_t i = 0; i < search.slips.size(); ++i) {
    const std::vector<std::size_t> wall = walls(search.slips, search.series.size());
    PhaseSlip& slip = search.slips[i];
    const auto step = step_at(search.series, slip.at, wall[i], wall[i + 2]);
    if (!step) continue;
    take_out(search.series, slip.at, step->value);
    slip.size_s.value += step->value;
    slip.size_s.uncertainty = step->uncertainty * deviation_s;
  }
}

struct Candidates {
  std::vector<Estimate> steps;  // by edge, scaled; NaN where there is none
  double wander = 0;            // robust spread of them over their errors for white noise
};

Candidates candidates_in(const SlipSearch& search, double deviation_s) {
  const std::vector<std::size_t> wall = walls(search.slips, search.series.size());
  Candidates found{.steps = std::vector<Estimate>(search.series.size(), Estimate{nan, nan})};
  std::vector<double> pulls;
  std::size_t part = 0;
  for (std::size_t i = 0; i < search.series.size(); ++i) {
    while (i >= wall[part + 1]) ++part;
    if (!search.series.used[i] || i == wall[part]) continue;
    const auto step = step_at(search.series, i, wall[part], wall[part + 1]);
    if (!step) continue;
    found.steps[i] = {step->value, step->uncertainty * deviation_s};
    pulls.push_back(step->value / found.steps[i].uncertainty);
  }
  found.wander = std::max(1.0, scaled_median_deviation(pulls));
  return found;
}

bool any_larger_nearby(const Candidates& found, std::size_t at) {
  const auto pull = [&](std::size_t i) {
    return std::abs(found.steps[i].value / found.steps[i].uncertainty);
  };
  const std::size_t begin = at > slip_window ? at - slip_window : 0;
  const std::size_t end = std::min(at + slip_window + 1, found.steps.size());
  for (std::size_t i = begin; i < end; ++i) {
    if (pull(i) > pull(at)) return true;
  }
  return false;
}

// The jumps that stand out, none near a larger one.
std::vector<PhaseSlip> standing_out(const Candidates& found, double smallest_s) {
  std::vector<PhaseSlip> slips;
  for (std::size_t i = 0; i < found.steps.size(); ++i) {
    const Estimate& step = found.steps[i];
    const bool stands_out = std::abs(step.value) >= smallest_s &&
                            std::abs(step.value) > slip_significance * found.wander * step.uncertainty;
    if (stands_out && !any_larger_nearby(found, i)) slips.push_back({i, step});
  }
  return slips;
}

}  // namespace

void leave_out_wild(PhaseSeries& series) {
  std::vector<double> distance(series.size(), nan);
  for (std::size_t i = 0; i < series.size(); ++i) {
    if (!series.used[i]) continue;
    std::vector<double> near{series.phase_s[i]};
    for (const bool backward : {true, false}) {
      for (const std::size_t j :
           used_near(series, backward ? i : i + 1, backward, 0, series.size(), wild_window))
        near.push_back(series.phase_s[j]);
    }
    distance[i] = series.phase_s[i] - median(near);
  }
  const double deviation = std::max(scaled_median_deviation(distance), smallest_deviation_s);
  for (std::size_t i = 0; i < series.size(); ++i)
    if (std::abs(distance[i]) > wild_edge * deviation) series.used[i] = false;
}

std::optional<Estimate> step_at(const PhaseSeries& series, std::size_t at, std::size_t begin,
                                std::size_t end) {
  const auto before = used_near(series, at, true, begin, end, slip_window);
  const auto after = used_near(series, at, false, begin, end, slip_window);
  constexpr std::size_t fewest = 3;
  if (before.size() < fewest || after.size() < fewest) return std::nullopt;
  // The step's column made orthogonal to level and slope; times and phases from the edge in the middle.
  const double count = static_cast<double>(before.size() + after.size());
  const double share = static_cast<double>(after.size()) / count;
  double mean_time = 0;
  for (const auto* side : {&before, &after})
    for (const std::size_t i : *side) mean_time += (series.time_s[i] - series.time_s[at]) / count;
  double time_time = 0, step_time = 0;
  const auto sum = [&](const std::vector<std::size_t>& side, double step) {
    for (const std::size_t i : side) {
      const double t = series.time_s[i] - series.time_s[at] - mean_time;
      time_time += t * t;
      step_time += step * t;
    }
  };
  sum(before, -share);
  sum(after, 1 - share);
  double step_step = 0, step_phase = 0;
  const auto project = [&](const std::vector<std::size_t>& side, double step) {
    for (const std::size_t i : side) {
      const double t = series.time_s[i] - series.time_s[at] - mean_time;
      const double pure = step - step_time / time_time * t;
      step_step += pure * pure;
      step_phase += pure * (series.phase_s[i] - series.phase_s[at]);
    }
  };
  project(before, -share);
  project(after, 1 - share);
  return Estimate{step_phase / step_step, 1 / std::sqrt(step_step)};
}

SlipSearch find_slips(PhaseSeries series, const std::vector<std::size_t>& known, double smallest_s) {
  SlipSearch search{.series = std::move(series)};
  const double deviation_s = edge_deviation(search.series);
  for (const std::size_t at : known) search.slips.push_back({at, {0, nan}});
  measure(search, deviation_s);
  constexpr int most_passes = 20;
  for (int pass = 0; pass < most_passes; ++pass) {
    const Candidates found = candidates_in(search, deviation_s);
    const std::vector<PhaseSlip> more = standing_out(found, smallest_s);
    if (more.empty()) break;
    for (const PhaseSlip& slip : more) {
      take_out(search.series, slip.at, slip.size_s.value);
      search.slips.push_back(slip);
    }
    std::sort(search.slips.begin(), search.slips.end(),
              [](const PhaseSlip& a, const PhaseSlip& b) { return a.at < b.at; });
    measure(search, deviation_s);
  }
  return search;
}

}  // namespace firstedge
