#include "firstedge/jitter/run_blocks.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

struct Placed {
  std::vector<double> place, difference_s;
};

Placed placed(const PairSample& sample, const RunClock& clock) {
  Placed found;
  for (std::size_t i = 0; i < sample.size(); ++i) {
    const double place = clock.place(sample.record[i]);
    if (std::isnan(place)) continue;
    found.place.push_back(place);
    found.difference_s.push_back(sample.difference_s[i]);
  }
  return found;
}

std::vector<double> steps_of(const std::vector<double>& values) {
  std::vector<double> steps;
  for (std::size_t i = 1; i < values.size(); ++i) steps.push_back(values[i] - values[i - 1]);
  return steps;
}

// The length of a block: so many blocks of the run's whole length, or shorter where pauses make up much of
// it, so that blocks outside the pauses hold no more pairs than asked for.
double block_length(const std::vector<double>& place, double span, std::size_t most, bool whole) {
  const auto pairs = static_cast<double>(place.size());
  const double blocks = std::clamp(pairs / fewest_in_block, 1.0, static_cast<double>(most));
  double length = span / blocks;
  // Of triggers at random the mean distance is 1.44 times the median; of even ones it is the median.
  constexpr double mean_over_median = 1.45;
  const double spacing = median(steps_of(place));
  if (spacing > 0) length = std::min(length, mean_over_median * spacing * pairs / blocks);
  constexpr double most_with_pauses = 8;
  length = std::max(length, span / (most_with_pauses * static_cast<double>(most)));
  return whole ? std::max(1.0, std::ceil(length)) : length;
}

// Mean of the differences of one block without wild ones.
void add_block(RunBlocks& blocks, std::span<const double> differences) {
  const double centre = median(differences);
  constexpr double wild = 5;
  double sum = 0;
  std::uint64_t count = 0;
  for (const double difference : differences) {
    if (blocks.scatter_s > 0 && !(std::abs(difference - centre) <= wild * blocks.scatter_s)) continue;
    sum += difference - centre;
    ++count;
  }
  blocks.wild += differences.size() - count;
  blocks.used += count;
  blocks.pairs.push_back(count);
  blocks.mean_s.push_back(count > 0 ? centre + sum / static_cast<double>(count) : nan);
}

}  // namespace

std::size_t RunBlocks::filled() const {
  return static_cast<std::size_t>(
      std::count_if(pairs.begin(), pairs.end(), [](std::uint64_t count) { return count > 0; }));
}

double RunBlocks::uncertainty_s(std::size_t block) const {
  return pairs[block] > 0 ? scatter_s / std::sqrt(static_cast<double>(pairs[block])) : nan;
}

std::vector<double> RunBlocks::relative_variance() const {
  std::vector<double> variance;
  for (const std::uint64_t count : pairs)
    variance.push_back(count > 0 ? 1 / static_cast<double>(count) : nan);
  return variance;
}

RunBlocks run_blocks(const PairSample& sample, const RunClock& clock, std::size_t most) {
  constexpr std::size_t fewest_blocks = 16;
  if (most < fewest_blocks)
    throw Error("jitter over time", fmt::format("{} blocks at most", most),
                fmt::format("allow at least {}", fewest_blocks));
  RunBlocks blocks;
  const Placed pairs = placed(sample, clock);
  blocks.without_place = sample.size() - pairs.place.size();
  if (pairs.place.empty()) return blocks;
  blocks.scatter_s = central_half_width(steps_of(pairs.difference_s)) / std::sqrt(2.0);
  blocks.begin = pairs.place.front();
  const double span = pairs.place.back() - blocks.begin + (clock.by_time() ? 0 : 1);
  blocks.length = span > 0 ? block_length(pairs.place, span, most, !clock.by_time()) : 1;
  const double last = std::max(1.0, std::ceil(span / blocks.length)) - 1;
  const auto block_of = [&](double place) {
    return static_cast<std::size_t>(std::min(last, std::floor((place - blocks.begin) / blocks.length)));
  };
  std::size_t first = 0;
  for (std::size_t block = 0; first < pairs.place.size(); ++block) {
    std::size_t end = first;
    while (end < pairs.place.size() && block_of(pairs.place[end]) == block) ++end;
    add_block(blocks, std::span(pairs.difference_s).subspan(first, end - first));
    first = end;
  }
  return blocks;
}

}  // namespace firstedge
