#include "firstedge/signal/quiet_stretches.hpp"

#include "firstedge/core/vector_clones.hpp"
#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/signal/level_statistics.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace firstedge {
namespace {

constexpr std::size_t good_start = 16;    // samples of a quiet start that is preferred to longer stretches
constexpr std::size_t guard_samples = 2;  // kept clear before the foot of a pulse

/// Ranges in order of their first sample, overlapping and touching ones joined.
std::vector<SampleRange> joined(std::vector<SampleRange> ranges) {
  std::sort(ranges.begin(), ranges.end(),
            [](const SampleRange& a, const SampleRange& b) { return a.first < b.first; });
  std::vector<SampleRange> apart;
  for (const SampleRange& range : ranges) {
    if (!apart.empty() && range.first <= apart.back().last) {
      apart.back().last = std::max(apart.back().last, range.last);
    } else {
      apart.push_back(range);
    }
  }
  return apart;
}

/// Variances of the record cut into blocks: the first block's, and the lower quartile of all. Each by one
/// pass, about the block's first value: exact to 1e-9 of itself where that stands less than a thousand
/// deviations from the others.
struct BlockVariances {
  std::size_t block = 0;
  double first = 0;
  double quiet = 0;
};

/// The value that stands at `rank` when the values, one or more, are put in order.
FIRSTEDGE_VECTOR_CLONES double value_of_rank(std::vector<double>& values, std::size_t rank) {
  constexpr std::size_t few = 32;
  const std::size_t size = values.size();
  if (size <= few) {
    // For a few it is faster to count how many are less than each, without a branch.
    const double* v = values.data();
    for (std::size_t i = 0; i < size; ++i) {
      std::int64_t less = 0, equal = 0;
      for (std::size_t k = 0; k < size; ++k) {
        less += v[k] < v[i] ? 1 : 0;
        equal += v[k] == v[i] ? 1 : 0;
      }
      const auto wanted = static_cast<std::int64_t>(rank);
      if (less <= wanted && wanted < less + equal) return v[i];
    }
  }
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

BlockVariances block_variances(std::span<const double> values) {
  const std::size_t block = std::clamp<std::size_t>(values.size() / 16, fewest_quiet_samples, 64);
  const auto n = static_cast<double>(block);
  std::vector<double> squares;  // about the mean of each block
  squares.reserve(values.size() / block);
  for (std::size_t first = 0; first + block <= values.size(); first += blocks_at_once * block) {
    const std::size_t blocks = std::min(blocks_at_once, (values.size() - first) / block);
    const auto moments = moments_of_blocks(values.subspan(first, blocks * block), block);
    for (std::size_t k = 0; k < blocks; ++k)
      squares.push_back(std::max(moments[k].squares - moments[k].distances * moments[k].distances / n, 0.0));
  }
  const double of_first = squares.front();
  const double quartile = value_of_rank(squares, squares.size() / 4);
  return {.block = block, .first = of_first / (n - 1), .quiet = quartile / (n - 1)};
}

/// True if all values stand this near to the centre.
bool within(std::span<const double> values, double centre, double distance) {
  if (values.empty()) return true;
  const auto [least, greatest] = extremes_of(values);
  return std::abs(least - centre) <= distance && std::abs(greatest - centre) <= distance;
}

/// True if the means of two stretches agree within twice their combined uncertainty, for white noise.
bool at_one_level(std::span<const double> values, SampleRange a, SampleRange b) {
  const auto part = [&](SampleRange range) { return values.subspan(range.first, range.size()); };
  const auto uncertainty = [&](SampleRange range) {
    return deviation_of(part(range)) / std::sqrt(static_cast<double>(range.size()));
  };
  return std::abs(mean_of_values(part(a)) - mean_of_values(part(b))) <=
         2 * std::hypot(uncertainty(a), uncertainty(b));
}

/// Running mean and variance of the samples accepted so far (B. P. Welford, Technometrics 4 (1962) 419).
class RunningLevel {
 public:
  void add(double value) {
    ++samples_;
    const double before = value - mean_;
    mean_ += before / static_cast<double>(samples_);
    squares_ += before * (value - mean_);
  }
  double mean() const { return mean_; }
  double deviation() const { return std::sqrt(squares_ / static_cast<double>(samples_ - 1)); }

 private:
  std::size_t samples_ = 0;
  double mean_ = 0, squares_ = 0;
};

}  // namespace

std::vector<SampleRange> disturbed_ranges(std::span<const double> values, double centre, double deviation,
                                          std::span<const SampleRange> clipped) {
  std::vector<SampleRange> ranges(clipped.begin(), clipped.end());
  if (ranges.empty() && within(values, centre, seed_deviations * deviation)) return {};
  const auto away = [&](std::size_t i) { return std::abs(values[i] - centre); };
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (away(i) <= seed_deviations * deviation) continue;
    std::size_t first = i, last = i + 1;
    while (first > 0 && away(first - 1) > foot_deviations * deviation) --first;
    while (last < values.size() && away(last) > foot_deviations * deviation) ++last;
    i = last - 1;
    ranges.push_back({first > guard_samples ? first - guard_samples : 0, last});
  }
  ranges = joined(std::move(ranges));
  // A tail goes on below the noise: as long again as what stood out of it, but not over half of the gap.
  for (std::size_t k = 0; k < ranges.size(); ++k) {
    const std::size_t next = k + 1 < ranges.size() ? ranges[k + 1].first : values.size();
    ranges[k].last += std::min(ranges[k].size() + guard_samples, (next - ranges[k].last + 1) / 2);
  }
  return ranges;
}

std::vector<SampleRange> between(std::span<const SampleRange> ranges, std::size_t size) {
  std::vector<SampleRange> gaps;
  std::size_t first = 0;
  for (const SampleRange& range : ranges) {
    if (range.first > first) gaps.push_back({first, range.first});
    first = std::max(first, range.last);
  }
  if (first < size) gaps.push_back({first, size});
  return gaps;
}

double quiet_deviation(std::span<const double> values) {
  return values.size() < fewest_quiet_samples ? 0 : std::sqrt(block_variances(values).quiet);
}

std::optional<SampleRange> quiet_start(std::span<const double> values, double step,
                                       std::span<const SampleRange> clipped) {
  if (values.size() < fewest_quiet_samples) return std::nullopt;
  const RobustLevel common = shortest_quarter(values, step);
  const BlockVariances blocks = block_variances(values);
  const double quiet = std::sqrt(blocks.quiet);
  // Above what blocks of 8 white samples reach, and what blocks of correlated noise do.
  if (std::sqrt(blocks.first) > std::max({2.5 * quiet, 1.25 * step, 1.25 * common.deviation}))
    return std::nullopt;

  RunningLevel level;
  std::size_t end = clipped.empty() ? values.size() : std::min(values.size(), clipped.front().first);
  for (std::size_t i = 0; i < end; ++i) {
    if (i >= blocks.block) {
      // The common deviation is that of slow noise too, but it may hold part of a pulse: so it counts for
      // less, and only as far as correlated noise can raise it over that of a block.
      const double calm = std::max(quiet, 0.5 * step);
      const double own = std::max(level.deviation(), calm);
      const double limit = seed_deviations * std::max(own, 0.6 * std::min(common.deviation, 4 * calm));
      if (std::abs(values[i] - level.mean()) > limit) {
        end = i;
        while (end > 0 && std::abs(values[end - 1] - level.mean()) > foot_deviations * own) --end;
        end -= std::min(end, guard_samples);
        break;
      }
    }
    level.add(values[i]);
  }
  if (end < fewest_quiet_samples) return std::nullopt;
  return SampleRange{0, end};
}

std::optional<SampleRange> best_quiet_stretch(std::span<const double> values, double step,
                                              std::span<const SampleRange> clipped) {
  const auto start = quiet_start(values, step, clipped);
  if (start && (start->size() >= good_start || start->size() == values.size())) return start;
  const RobustLevel common = shortest_quarter(values, step);
  const std::vector<SampleRange> gaps =
      between(disturbed_ranges(values, common.centre, common.deviation, clipped), values.size());
  SampleRange longest;
  for (const SampleRange& gap : gaps) {
    if (gap.size() > longest.size()) longest = gap;
  }
  if (start && (longest.size() < 4 * start->size() || !at_one_level(values, *start, longest))) return start;
  if (longest.size() < fewest_quiet_samples) return std::nullopt;
  return longest;
}

}  // namespace firstedge
