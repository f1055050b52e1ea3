#include "firstedge/signal/sorted_samples.hpp"

#include "firstedge/core/vector_clones.hpp"
#include "firstedge/signal/lane_sums.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <span>

namespace firstedge {
namespace {

constexpr std::size_t bins = 512;
constexpr std::size_t fewest_binned = 64;
constexpr std::ptrdiff_t most_in_bin = 16;  // of different values: more are sorted on their own

// The bin of each value.
FIRSTEDGE_VECTOR_CLONES void find_bins(const double* values, std::size_t size, double least,
                                       double bins_per_volt, std::int32_t* __restrict found) {
  for (std::size_t i = 0; i < size; ++i)
    found[i] = static_cast<std::int32_t>((values[i] - least) * bins_per_volt);
}

void sort_by_insertion(std::span<double> values) {
  for (std::size_t i = 1; i < values.size(); ++i) {
    const double value = values[i];
    std::size_t at = i;
    for (; at > 0 && values[at - 1] > value; --at) values[at] = values[at - 1];
    values[at] = value;
  }
}

}  // namespace

void sort_samples(std::vector<double>& values) {
  if (values.size() < fewest_binned) {
    std::sort(values.begin(), values.end());
    return;
  }
  const auto [least, greatest] = extremes_of(values);
  const double bins_per_volt = static_cast<double>(bins - 1) / (greatest - least);
  if (!std::isfinite(bins_per_volt)) {  // all equal, or nearly so
    std::sort(values.begin(), values.end());
    return;
  }
  std::vector<std::int32_t> bin(values.size());
  find_bins(values.data(), values.size(), least, bins_per_volt, bin.data());
  std::array<std::uint32_t, bins + 1> starts{};  // of each bin among the sorted values
  for (const std::int32_t one : bin) ++starts[static_cast<std::size_t>(one) + 1];
  for (std::size_t k = 1; k <= bins; ++k) starts[k] += starts[k - 1];
  std::array<std::uint32_t, bins + 1> next = starts;
  std::vector<double> sorted(values.size());
  for (std::size_t i = 0; i < values.size(); ++i)
    sorted[next[static_cast<std::size_t>(bin[i])]++] = values[i];
  for (std::size_t k = 0; k < bins; ++k) {
    const auto first = sorted.begin() + starts[k], last = sorted.begin() + starts[k + 1];
    if (last - first > most_in_bin && !std::all_of(first, last, [&](double one) { return one == *first; }))
      std::sort(first, last);
  }
  sort_by_insertion(sorted);
  values = std::move(sorted);
}

}  // namespace firstedge
