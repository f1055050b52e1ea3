#include "firstedge/stats/histogram.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <numeric>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_bins_ever = 1'000'000;

// 2 IQR n^(-1/3): D. Freedman and P. Diaconis, Z. Wahrscheinlichkeit 57 (1981) 453.
std::size_t automatic_bins(std::span<const double> sorted, double low, double high, std::size_t most) {
  const double quartiles = quantile_of_sorted(sorted, 0.75) - quantile_of_sorted(sorted, 0.25);
  const double width = 2 * quartiles / std::cbrt(static_cast<double>(sorted.size()));
  const auto cap = static_cast<double>(std::max<std::size_t>(most, 1));
  if (!(width > 0)) return static_cast<std::size_t>(std::min(cap, std::sqrt(sorted.size()) + 1));
  return static_cast<std::size_t>(std::clamp(std::ceil((high - low) / width), 1.0, cap));
}

}  // namespace

std::vector<double> Histogram::middles() const {
  std::vector<double> at(bins());
  for (std::size_t bin = 0; bin < bins(); ++bin) at[bin] = middle(bin);
  return at;
}

std::vector<double> Histogram::heights() const {
  return {counts.begin(), counts.end()};
}

std::vector<double> Histogram::height_uncertainties() const {
  std::vector<double> bars(bins());
  for (std::size_t bin = 0; bin < bins(); ++bin)
    bars[bin] = std::sqrt(std::max(1.0, static_cast<double>(counts[bin])));
  return bars;
}

std::uint64_t Histogram::inside() const {
  return std::accumulate(counts.begin(), counts.end(), std::uint64_t{0});
}

std::vector<double> even_edges(double low, double high, std::size_t bins) {
  if (!std::isfinite(low) || !std::isfinite(high) || !(low < high) || !std::isfinite(high - low))
    throw Error("histogram", fmt::format("the range from {} to {} holds nothing", low, high),
                "give a finite range with its lower end first");
  if (bins < 1 || bins > most_bins_ever)
    throw Error("histogram", fmt::format("{} bins asked for", bins),
                fmt::format("give 1 to {}", most_bins_ever));
  std::vector<double> edges(bins + 1);
  for (std::size_t i = 0; i <= bins; ++i)
    edges[i] = std::lerp(low, high, static_cast<double>(i) / static_cast<double>(bins));
  return edges;
}

std::vector<double> edges_for(std::span<const double> values, const BinOptions& options) {
  std::vector<double> sorted = finite_sorted(values);
  const auto outside = [&](double value) {
    return (options.low && value < *options.low) || (options.high && value > *options.high);
  };
  sorted.erase(std::remove_if(sorted.begin(), sorted.end(), outside), sorted.end());
  double low = options.low.value_or(sorted.empty() ? 0.0 : sorted.front());
  double high = options.high.value_or(sorted.empty() ? low + 1 : sorted.back());
  if (low == high && !(options.low && options.high)) {
    // One value: a bin wide enough that its edges differ from it in a double.
    const double half = low == 0 ? 0.5 : 1e-6 * std::abs(low);
    low = options.low.value_or(low - half);
    high = options.high.value_or(high + half);
  }
  return even_edges(low, high,
                    options.bins > 0 ? options.bins : automatic_bins(sorted, low, high, options.most_bins));
}

Histogram histogram(std::span<const double> values, std::vector<double> edges) {
  // Not-a-number compares false: "not less" finds it as well.
  const auto not_rising = [](double a, double b) { return !(a < b); };
  if (edges.size() < 2 || std::adjacent_find(edges.begin(), edges.end(), not_rising) != edges.end())
    throw Error("histogram", "the edges of the bins do not rise", "give at least two edges in rising order");
  Histogram filled{.edges = std::move(edges), .counts = {}};
  filled.counts.resize(filled.edges.size() - 1);
  for (const double value : values) {
    if (!std::isfinite(value)) {
      ++filled.not_finite;
    } else if (value < filled.edges.front()) {
      ++filled.below;
    } else if (value > filled.edges.back()) {
      ++filled.above;
    } else {
      const auto past = std::upper_bound(filled.edges.begin(), filled.edges.end(), value);
      const auto bin = static_cast<std::size_t>(past - filled.edges.begin()) - 1;
      ++filled.counts[std::min(bin, filled.counts.size() - 1)];
    }
  }
  return filled;
}

Histogram histogram(std::span<const double> values, const BinOptions& options) {
  return histogram(values, edges_for(values, options));
}

}  // namespace firstedge
