#include "firstedge/timing/pulse_splitting.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/orthogonal_columns.hpp"

#include <algorithm>
#include <array>
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

Candidate candidate_at(const GroupSamples& group, const OrthogonalColumns& others,
                       const GroupMember& member) {
  Candidate made{.shape = group.shape_of(member), .rows = group.rows_of(member), .with_others = {}};
  const std::size_t size = made.rows.last - made.rows.first;
  const std::span<const double> shape = std::span(made.shape).subspan(made.rows.first, size);
  const double whole_length2 = sum_of_products(shape, shape);
  made.with_data = sum_of_products(others.rest().subspan(made.rows.first, size), shape);
  made.length2 = whole_length2;
  for (std::size_t i = 0; i < others.count(); ++i) {
    made.with_others.push_back(sum_of_products(others.column(i).subspan(made.rows.first, size), shape));
    made.length2 -= made.with_others[i] * made.with_others[i];
  }
  made.stands_out = made.length2 > parallel * whole_length2;
  return made;
}

// Neighbours on the grid, row by row side by side, so that one pass has the products of a candidate with all.
struct Eight {
  SampleRange rows;  // outside them all are 0
  std::vector<double> shapes;
};

Eight together(std::span<const Candidate> some) {
  Eight eight{.rows = some.front().rows, .shapes = {}};
  for (const Candidate& one : some) {
    eight.rows.first = std::min(eight.rows.first, one.rows.first);
    eight.rows.last = std::max(eight.rows.last, one.rows.last);
  }
  eight.shapes.resize((eight.rows.last - eight.rows.first) * lanes);
  for (std::size_t j = 0; j < some.size(); ++j)
    for (std::size_t n = some[j].rows.first; n < some[j].rows.last; ++n)
      eight.shapes[(n - eight.rows.first) * lanes + j] = some[j].shape[n];
  return eight;
}

// Of a candidate with eight, as the samples have them.
std::array<double, lanes> products(const Candidate& a, const Eight& eight) {
  const std::size_t first = std::max(a.rows.first, eight.rows.first);
  const std::size_t last = std::min(a.rows.last, eight.rows.last);
  if (last <= first) return {};
  return products_with_eight(
      std::span(eight.shapes).subspan((first - eight.rows.first) * lanes, (last - first) * lanes),
      std::span(a.shape).subspan(first, last - first));
}

// How far two pulses lower chi-square, with the heights that do it best; `all` over `determinant` of it, so
// that two pairs are told apart without a division. Nothing where a height is not over 0.
struct Explained {
  double all = 0, determinant = 1;
  bool more_than(const Explained& other) const { return all * other.determinant > other.all * determinant; }
};

// product: of their shapes.
std::optional<Explained> explained_by(const Candidate& a, const Candidate& b, double product) {
  for (std::size_t i = 0; i < a.with_others.size(); ++i) product -= a.with_others[i] * b.with_others[i];
  const double determinant = a.length2 * b.length2 - product * product;
  if (!(determinant > parallel * a.length2 * b.length2)) return std::nullopt;
  const double on_a = a.with_data * b.length2 - b.with_data * product;
  const double on_b = b.with_data * a.length2 - a.with_data * product;
  if (!(on_a > 0 && on_b > 0)) return std::nullopt;
  return Explained{.all = on_a * a.with_data + on_b * b.with_data, .determinant = determinant};
}

// The grid's best two, of which the first is one of the first `firsts`.
std::optional<std::pair<std::size_t, std::size_t>> best_pair(std::span<const Candidate> grid,
                                                             std::size_t firsts) {
  Explained most;
  std::optional<std::pair<std::size_t, std::size_t>> best;
  for (std::size_t begin = 0; begin < grid.size(); begin += lanes) {
    const std::size_t end = std::min(begin + lanes, grid.size());
    const Eight eight = together(grid.subspan(begin, end - begin));
    for (std::size_t a = 0; a < std::min(firsts, end); ++a) {
      if (!grid[a].stands_out) continue;
      const std::array<double, lanes> with_eight = products(grid[a], eight);
      for (std::size_t b = std::max(a + 1, begin); b < end; ++b) {
        if (!grid[b].stands_out) continue;
        const std::optional<Explained> here = explained_by(grid[a], grid[b], with_eight[b - begin]);
        if (!here || !here->more_than(most)) continue;
        most = *here;
        best = {a, b};
      }
    }
  }
  return best;
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
  std::vector<Candidate> grid;
  std::size_t firsts = 0;
  for (std::size_t i = 0; i < steps; ++i) {
    grid.push_back(candidate_at(group, known, {place(i), fitted[split].polarity}));
    if (place(i) <= fitted[split].time_samples + reach * transition) firsts = i + 1;
  }
  const auto best = best_pair(grid, firsts);
  if (!best) return std::nullopt;
  std::vector<GroupMember> members{fitted.begin(), fitted.end()};
  members[split].time_samples = place(best->first);
  members.push_back({place(best->second), fitted[split].polarity});
  return members;
}

}  // namespace firstedge
