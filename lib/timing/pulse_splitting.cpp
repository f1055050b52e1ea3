#include "firstedge/timing/pulse_splitting.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/orthogonal_columns.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace firstedge {
namespace {

// Pulses closer to parallel than this (squared sine of their angle) cannot be told from one another, nor from
// what else is in the samples.
constexpr double parallel = 1e-6;

// What the level and all pulses but one can put into the samples, their times moving a little.
OrthogonalColumns others(const GroupSamples& group, std::span<const GroupMember> members, std::size_t but) {
  OrthogonalColumns columns(group.data());
  for (std::size_t k = 0; k < members.size(); ++k) {
    if (k == but) continue;
    columns.add(group.shape_of(members[k]));
    columns.add(group.slope_of(members[k]));
  }
  if (group.columns().fits_level()) columns.add(group.level());
  return columns;
}

// A pulse of height 1 V at one place of the grid, and its products with the others and with what they leave
// of the data.
struct Candidate {
  std::vector<double> shape;
  SampleRange rows;  // outside them it is 0
  std::vector<double> with_others;
  double with_data = 0;
  double length2 = 0;  // without its part along the others
  bool stands_out = false;
};

double product(const Candidate& a, const Candidate& b) {
  const std::size_t first = std::max(a.rows.first, b.rows.first);
  const std::size_t last = std::max(std::min(a.rows.last, b.rows.last), first);
  double sum = sum_of_products(std::span(a.shape).subspan(first, last - first),
                               std::span(b.shape).subspan(first, last - first));
  for (std::size_t i = 0; i < a.with_others.size(); ++i) sum -= a.with_others[i] * b.with_others[i];
  return sum;
}

Candidate candidate_at(const GroupSamples& group, const OrthogonalColumns& others,
                       const GroupMember& member) {
  Candidate made{.shape = group.shape_of(member), .rows = group.rows_of(member), .with_others = {}};
  const std::size_t size = made.rows.last - made.rows.first;
  const std::span<const double> shape = std::span(made.shape).subspan(made.rows.first, size);
  for (std::size_t i = 0; i < others.count(); ++i)
    made.with_others.push_back(sum_of_products(others.column(i).subspan(made.rows.first, size), shape));
  made.with_data = sum_of_products(others.rest().subspan(made.rows.first, size), shape);
  made.length2 = product(made, made);
  made.stands_out = made.length2 > parallel * sum_of_products(shape, shape);
  return made;
}

// How far two pulses lower chi-square, with the heights that do it best; 0 where one of them is not over 0.
double explained_by(const Candidate& a, const Candidate& b) {
  const double between = product(a, b);
  const double determinant = a.length2 * b.length2 - between * between;
  if (!(determinant > parallel * a.length2 * b.length2)) return 0;
  const double on_a = (a.with_data * b.length2 - b.with_data * between) / determinant;
  const double on_b = (b.with_data * a.length2 - a.with_data * between) / determinant;
  return on_a > 0 && on_b > 0 ? on_a * a.with_data + on_b * b.with_data : 0;
}

}  // namespace

std::optional<std::vector<GroupMember>> taken_for_two(const TemplateColumns& columns,
                                                      const PulseSamples& samples,
                                                      std::span<const GroupMember> fitted, std::size_t split,
                                                      double first_samples, double last_samples) {
  constexpr double most_steps = 400;
  constexpr double reach = 2;  // of the first of the two from where `split` was fitted, in transitions
  const GroupSamples group(columns, samples);
  const OrthogonalColumns known = others(group, fitted, split);
  const double transition = columns.shape().transition_duration_s() / columns.interval_s();
  const double span = last_samples - first_samples;
  const double step = std::max({transition / 8, 0.25, span / most_steps});
  const auto steps = static_cast<std::size_t>(std::max(std::floor(span / step), 0.0)) + 1;
  const auto place = [&](std::size_t i) { return first_samples + static_cast<double>(i) * step; };
  std::vector<Candidate> candidates;
  for (std::size_t i = 0; i < steps; ++i)
    candidates.push_back(candidate_at(group, known, {place(i), fitted[split].polarity}));

  double most = 0;
  std::optional<std::pair<std::size_t, std::size_t>> best;
  for (std::size_t a = 0; a < steps && place(a) <= fitted[split].time_samples + reach * transition; ++a) {
    if (!candidates[a].stands_out) continue;
    for (std::size_t b = a + 1; b < steps; ++b) {
      if (!candidates[b].stands_out) continue;
      const double explained = explained_by(candidates[a], candidates[b]);
      if (!(explained > most)) continue;
      most = explained;
      best = {a, b};
    }
  }
  if (!best) return std::nullopt;
  std::vector<GroupMember> members{fitted.begin(), fitted.end()};
  members[split].time_samples = place(best->first);
  members.push_back({place(best->second), fitted[split].polarity});
  return members;
}

}  // namespace firstedge
