#include "firstedge/compare/paired_spread.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double lower_tail = 0.5 * (1 - share_within_one_sigma);
constexpr std::size_t fewest_rows = 20;

using Draws = std::vector<std::vector<double>>;  // [resample][column], logarithms of half widths

double root_mean_square_about(const Draws& draws, std::size_t a, std::size_t b, double about) {
  double sum = 0;
  for (const std::vector<double>& draw : draws) sum += std::pow(draw[a] - draw[b] - about, 2);
  return std::sqrt(sum / static_cast<double>(draws.size()));
}

// Distance in standard errors; a difference that never moves is infinitely far from any other.
double distance(double difference, double standard_error) {
  if (difference == 0) return 0;
  return standard_error > 0 ? std::abs(difference) / standard_error : std::numeric_limits<double>::infinity();
}

std::vector<SpreadComparison> compared(const std::vector<double>& logs, const Draws& draws, double level) {
  std::vector<SpreadComparison> pairs;
  std::vector<double> difference, error;
  for (std::size_t a = 0; a < logs.size(); ++a) {
    for (std::size_t b = a + 1; b < logs.size(); ++b) {
      pairs.push_back({.first = a, .second = b});
      difference.push_back(logs[a] - logs[b]);
      error.push_back(root_mean_square_about(draws, a, b, difference.back()));
    }
  }
  std::vector<double> largest;
  for (const std::vector<double>& draw : draws) {
    double most = 0;
    for (std::size_t p = 0; p < pairs.size(); ++p) {
      const double moved = draw[pairs[p].first] - draw[pairs[p].second] - difference[p];
      most = std::max(most, distance(moved, error[p]));
    }
    largest.push_back(most);
  }
  std::sort(largest.begin(), largest.end());
  const double critical = quantile_of_sorted(largest, 1 - level);
  for (std::size_t p = 0; p < pairs.size(); ++p) {
    SpreadComparison& pair = pairs[p];
    pair.ratio = std::exp(difference[p]);
    pair.interval = {std::exp(difference[p] - critical * error[p]),
                     std::exp(difference[p] + critical * error[p])};
    const double seen = distance(difference[p], error[p]);
    const auto beyond = largest.end() - std::lower_bound(largest.begin(), largest.end(), seen);
    pair.chance = (static_cast<double>(beyond) + 1) / (static_cast<double>(largest.size()) + 1);
  }
  return pairs;
}

ComparedSpreads unknown(std::size_t columns) {
  ComparedSpreads spreads;
  spreads.half_width.assign(columns, {nan, nan, nan});
  spreads.deviation = spreads.half_width;
  for (std::size_t a = 0; a < columns; ++a) {
    for (std::size_t b = a + 1; b < columns; ++b)
      spreads.comparisons.push_back({.first = a, .second = b, .ratio = nan, .interval = {nan, nan}});
  }
  return spreads;
}

void check(const std::vector<std::vector<double>>& columns, double level) {
  for (const std::vector<double>& column : columns) {
    if (column.size() != columns.front().size())
      throw Error("comparison", "the columns differ in length", "give every method the same records");
  }
  if (!(level > 0 && level < 1))
    throw Error("comparison", fmt::format("a level of {} is not between 0 and 1", level),
                "give one such as 0.05");
}

}  // namespace

RankedColumn::RankedColumn(std::span<const double> values) : order_(values.size()) {
  if (!std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); }))
    throw Error("comparison", "a difference is not finite", "leave out records that a method cannot time");
  std::iota(order_.begin(), order_.end(), std::size_t{0});
  std::stable_sort(order_.begin(), order_.end(),
                   [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
  sorted_.reserve(values.size());
  for (const std::size_t row : order_) sorted_.push_back(values[row]);
}

double RankedColumn::half_width(std::span<const std::uint32_t> multiplicity,
                                std::vector<std::uint32_t>& scratch) const {
  scratch.resize(order_.size());
  for (std::size_t i = 0; i < order_.size(); ++i) scratch[i] = multiplicity[order_[i]];
  return 0.5 * (quantile_of_sorted(sorted_, scratch, 1 - lower_tail) -
                quantile_of_sorted(sorted_, scratch, lower_tail));
}

double RankedColumn::half_width() const {
  return central_half_width_of_sorted(sorted_);
}

double RankedColumn::deviation() const {
  return moments(sorted_).deviation.value;
}

ComparedSpreads compare_spreads(const std::vector<std::vector<double>>& columns, double level,
                                const BootstrapOptions& options) {
  if (columns.empty()) return {};
  check(columns, level);
  const std::size_t rows = columns.front().size();
  if (rows < fewest_rows) return unknown(columns.size());
  std::vector<RankedColumn> ranked;
  for (const std::vector<double>& column : columns) ranked.emplace_back(column);

  Draws draws;  // the sample itself comes first, then the resamples
  std::vector<std::uint32_t> scratch;
  const Bootstrap drawn = bootstrap(
      rows,
      [&](std::span<const std::uint32_t> multiplicity) {
        std::vector<double> widths, logs;
        for (const RankedColumn& column : ranked) {
          widths.push_back(column.half_width(multiplicity, scratch));
          logs.push_back(std::log(widths.back()));
        }
        draws.push_back(std::move(logs));
        return widths;
      },
      options);
  const std::vector<double> of_sample = std::move(draws.front());
  draws.erase(draws.begin());

  ComparedSpreads spreads;
  const auto freedom = static_cast<double>(rows - 1);
  for (std::size_t c = 0; c < columns.size(); ++c) {
    const Bootstrapped& width = drawn.figures[c];
    spreads.half_width.push_back({width.value, width.standard_error, freedom});
    spreads.deviation.push_back(moments(columns[c]).deviation);
  }
  spreads.comparisons = compared(of_sample, draws, level);
  return spreads;
}

}  // namespace firstedge
