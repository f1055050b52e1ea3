#include "firstedge/clock/second_labels.hpp"

#include <algorithm>
#include <cassert>

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

}  // namespace

SecondNumbers number_seconds(std::span<const std::int64_t> counted,
                             std::span<const std::optional<std::int64_t>> labels) {
  assert(counted.size() == labels.size());
  const std::vector<Run> runs = runs_of(counted, labels);
  assert(!runs.empty());
  const std::vector<Run> levels = believed(runs);
  SecondNumbers numbers;
  const std::int64_t first = levels.front().level;
  numbers.first_label = first + counted.front();
  std::size_t next = 1;
  std::int64_t level = first;
  for (std::size_t i = 0; i < counted.size(); ++i) {
    while (next < levels.size() && levels[next].begin <= i) level = levels[next++].level;
    numbers.added.push_back(level - first);
    if (!labels[i]) continue;
    ++numbers.labels;
    if (*labels[i] - counted[i] != level) ++numbers.wrong;
  }
  return numbers;
}

}  // namespace firstedge
