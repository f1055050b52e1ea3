#include "firstedge/clock/second_labels.hpp"

#include <algorithm>
#include <cassert>
#include <iterator>

namespace firstedge {
namespace {

// Neighbouring labels with the same label less count.
struct Run {
  std::int64_t level = 0;
  std::size_t begin = 0;  // edge
  std::size_t labels = 0;
};

std::vector<Run> runs_of(std::span<const std::int64_t> counted,
                         std::span<const std::optional<std::int64_t>> labels) {
  std::vector<Run> runs;
  for (std::size_t i = 0; i < counted.size(); ++i) {
    if (!labels[i]) continue;
    const std::int64_t level = *labels[i] - counted[i];
    if (runs.empty() || runs.back().level != level) runs.push_back({level, i, 0});
    ++runs.back().labels;
  }
  return runs;
}

// The runs that are believed, in order: long ones (or all, where none is long), without excursions.
std::vector<Run> believed(const std::vector<Run>& runs) {
  const auto is_long = [](const Run& run) { return run.labels >= fewest_alike; };
  const auto most_labels = [](const Run& a, const Run& b) { return a.labels < b.labels; };
  std::vector<Run> kept;
  std::copy_if(runs.begin(), runs.end(), std::back_inserter(kept), is_long);
  if (kept.empty()) return {*std::max_element(runs.begin(), runs.end(), most_labels)};
  std::vector<Run> straight;
  for (std::size_t i = 0; i < kept.size(); ++i) {
    straight.push_back(kept[i]);
    for (std::size_t j = kept.size() - 1; j > i; --j) {
      if (kept[j].level != kept[i].level) continue;
      i = j;  // whatever lay between was an excursion
      break;
    }
  }
  return straight;
}

// Where a new level begins, at the latest edge of those that may be the first, and the earliest of them.
struct Turn {
  std::size_t earliest = 0, at = 0;
};

Turn turn_to(const Run& next, std::int64_t old_level, std::span<const std::int64_t> counted,
             const std::vector<bool>& jumped, std::span<const std::optional<std::int64_t>> labels) {
  std::size_t last_old = next.begin;
  while (last_old > 0) {
    --last_old;
    if (labels[last_old] && *labels[last_old] - counted[last_old] == old_level) break;
  }
  std::optional<std::size_t> first_jump, last_jump;
  for (std::size_t i = last_old + 1; i <= next.begin; ++i) {
    if (!jumped[i]) continue;
    if (!first_jump) first_jump = i;
    last_jump = i;
  }
  return {first_jump.value_or(last_old + 1), last_jump.value_or(next.begin)};
}

}  // namespace

SecondNumbers number_seconds(std::span<const std::int64_t> counted, const std::vector<bool>& jumped,
                             std::span<const std::optional<std::int64_t>> labels) {
  assert(counted.size() == labels.size() && counted.size() == jumped.size());
  const std::vector<Run> runs = runs_of(counted, labels);
  assert(!runs.empty());
  const std::vector<Run> levels = believed(runs);
  SecondNumbers numbers;
  const std::int64_t first = levels.front().level;
  numbers.first_label = first + counted.front();
  numbers.added.assign(counted.size(), 0);
  numbers.unclear.assign(counted.size(), false);
  for (std::size_t k = 1; k < levels.size(); ++k) {
    const Turn turn = turn_to(levels[k], levels[k - 1].level, counted, jumped, labels);
    std::fill(numbers.added.begin() + static_cast<std::ptrdiff_t>(turn.at), numbers.added.end(),
              levels[k].level - first);
    for (std::size_t i = turn.earliest; i < turn.at; ++i) numbers.unclear[i] = true;
  }
  for (std::size_t i = 0; i < counted.size(); ++i) {
    if (!labels[i]) continue;
    ++numbers.labels;
    if (*labels[i] - counted[i] != first + numbers.added[i]) ++numbers.wrong;
  }
  return numbers;
}

}  // namespace firstedge
