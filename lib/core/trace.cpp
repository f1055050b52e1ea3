#include "firstedge/core/trace.hpp"

#include "firstedge/core/vector_clones.hpp"

#include <type_traits>

namespace firstedge {
namespace {

template <class Count>
FIRSTEDGE_VECTOR_CLONES void convert(const Count* counts, std::size_t size, double volts_per_count,
                                     double offset_v, double* __restrict volts) {
  for (std::size_t i = 0; i < size; ++i)
    volts[i] = volts_per_count * static_cast<double>(counts[i]) + offset_v;
}

template <class Count>
struct Range {
  Count least, greatest;
};

// Of at least one count.
template <class Count>
FIRSTEDGE_VECTOR_CLONES Range<Count> range_of(const Count* counts, std::size_t size) {
  Count least = counts[0], greatest = counts[0];
  for (std::size_t i = 0; i < size; ++i) {
    least = counts[i] < least ? counts[i] : least;
    greatest = counts[i] > greatest ? counts[i] : greatest;
  }
  return {least, greatest};
}

template <class Count>
bool inside_limits(Count count, const Trace& trace) {
  return static_cast<double>(count) > trace.lowest_count &&
         static_cast<double>(count) < trace.highest_count;  // false for NaN
}

template <class Count>
std::vector<SampleRange> ranges_outside(std::span<const Count> counts, const Trace& trace) {
  std::vector<SampleRange> ranges;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    if (inside_limits(counts[i], trace)) continue;
    if (!ranges.empty() && ranges.back().last == i) {
      ranges.back().last = i + 1;
    } else {
      ranges.push_back({i, i + 1});
    }
  }
  return ranges;
}

}  // namespace

std::vector<double> volts(const Trace& trace) {
  std::vector<double> values(trace.size());
  std::visit(
      [&](const auto& samples) {
        convert(samples.data(), samples.size(), trace.volts_per_count, trace.offset_v, values.data());
      },
      trace.counts);
  return values;
}

std::optional<std::pair<double, double>> count_range(const Trace& trace) {
  return std::visit(
      [&](const auto& samples) -> std::optional<std::pair<double, double>> {
        using Count = typename std::decay_t<decltype(samples)>::value_type;
        if constexpr (std::is_integral_v<Count>) {
          if (samples.empty()) return std::nullopt;
          const auto [least, greatest] = range_of(samples.data(), samples.size());
          return std::pair{static_cast<double>(least), static_cast<double>(greatest)};
        }
        return std::nullopt;
      },
      trace.counts);
}

std::vector<SampleRange> clipped_ranges(const Trace& trace) {
  // Most traces are not clipped: their extremes tell that at once.
  const auto range = count_range(trace);
  if (range && inside_limits(range->first, trace) && inside_limits(range->second, trace)) return {};
  return std::visit([&](const auto& samples) { return ranges_outside(samples, trace); }, trace.counts);
}

}  // namespace firstedge
