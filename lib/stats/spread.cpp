#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>
#include <numeric>

#include <boost/math/special_functions/erf.hpp>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();
// Quantiles at -1 and +1 standard deviation of a normal distribution.
constexpr double lower_tail = 0.5 * (1 - share_within_one_sigma);
constexpr double upper_tail = 0.5 * (1 + share_within_one_sigma);

}  // namespace

std::vector<double> finite_sorted(std::span<const double> values) {
  std::vector<double> sorted;
  sorted.reserve(values.size());
  std::copy_if(values.begin(), values.end(), std::back_inserter(sorted),
               [](double value) { return std::isfinite(value); });
  std::sort(sorted.begin(), sorted.end());
  return sorted;
}

double quantile_of_sorted(std::span<const double> sorted, double p) {
  assert(p >= 0 && p <= 1);
  if (sorted.empty()) return nan;
  const double position = p * static_cast<double>(sorted.size() - 1);
  const auto below = std::min(static_cast<std::size_t>(position), sorted.size() - 1);
  const std::size_t above = std::min(below + 1, sorted.size() - 1);
  return std::lerp(sorted[below], sorted[above], position - static_cast<double>(below));
}

double quantile_of_sorted(std::span<const double> sorted, std::span<const std::uint32_t> multiplicity,
                          double p) {
  assert(sorted.size() == multiplicity.size() && p >= 0 && p <= 1);
  const auto total = std::accumulate(multiplicity.begin(), multiplicity.end(), std::uint64_t{0});
  if (total == 0) return nan;
  const double position = p * static_cast<double>(total - 1);
  const auto below = std::min(static_cast<std::uint64_t>(position), total - 1);
  const std::uint64_t above = std::min(below + 1, total - 1);
  std::uint64_t passed = 0;
  double lower = nan;
  for (std::size_t i = 0; i < sorted.size(); ++i) {
    passed += multiplicity[i];
    if (std::isnan(lower) && passed > below) lower = sorted[i];
    if (passed > above) return std::lerp(lower, sorted[i], position - static_cast<double>(below));
  }
  return nan;
}

double median(std::span<const double> values) {
  return quantile_of_sorted(finite_sorted(values), 0.5);
}

Estimate median_estimate(std::span<const double> values) {
  const std::vector<double> sorted = finite_sorted(values);
  if (sorted.size() < 2) return {quantile_of_sorted(sorted, 0.5), std::numeric_limits<double>::quiet_NaN()};
  const double share = 0.5 / std::sqrt(static_cast<double>(sorted.size()));
  return {quantile_of_sorted(sorted, 0.5),
          0.5 * (quantile_of_sorted(sorted, 0.5 + share) - quantile_of_sorted(sorted, 0.5 - share))};
}

double scaled_median_deviation(std::span<const double> values) {
  std::vector<double> deviations = finite_sorted(values);
  const double centre = quantile_of_sorted(deviations, 0.5);
  for (double& value : deviations) value = std::abs(value - centre);
  return normal_per_median_deviation * median(deviations);
}

double central_half_width(std::span<const double> values) {
  return central_half_width_of_sorted(finite_sorted(values));
}

double central_half_width_of_sorted(std::span<const double> sorted) {
  return 0.5 * (quantile_of_sorted(sorted, upper_tail) - quantile_of_sorted(sorted, lower_tail));
}

Shorth shorth_of_sorted(std::span<const double> sorted) {
  if (sorted.empty()) return {nan, nan, nan};
  const std::size_t inside = sorted.size() / 2 + 1;
  std::size_t first = 0;
  if (sorted.size() > 1) {
    for (std::size_t i = 0; i + inside <= sorted.size(); ++i) {
      if (sorted[i + inside - 1] - sorted[i] < sorted[first + inside - 1] - sorted[first]) first = i;
    }
  }
  const auto half = sorted.subspan(first, std::min(inside, sorted.size()));
  return {half.front(), half.back(), moments(half).mean.value};
}

Moments moments(std::span<const double> values) {
  Moments found;
  double origin = 0;
  double sum = 0;
  for (const double value : values) {
    if (!std::isfinite(value)) continue;
    if (found.count++ == 0) origin = value;
    sum += value - origin;
  }
  found.not_finite = values.size() - found.count;
  const auto n = static_cast<double>(found.count);
  const double shift = sum / n;
  double squares = 0;
  for (const double value : values) {
    if (std::isfinite(value)) squares += (value - origin - shift) * (value - origin - shift);
  }
  const double deviation = found.count > 1 ? std::sqrt(squares / (n - 1)) : nan;
  found.mean = {found.count > 0 ? origin + shift : nan, deviation / std::sqrt(n), n - 1};
  found.deviation = {deviation, deviation / std::sqrt(2 * (n - 1)), n - 1};
  return found;
}

Estimate share_of(std::uint64_t hits, std::uint64_t total) {
  assert(hits <= total);
  if (total == 0) return {nan, nan};
  const auto k = static_cast<double>(hits);
  const auto n = static_cast<double>(total);
  return {k / n, std::sqrt((k + 1) * (n - k + 1) / (n + 3)) / (n + 2)};
}

double normal_cumulative(double x) {
  return 0.5 * std::erfc(-x / std::numbers::sqrt2);
}

double normal_quantile(double p) {
  if (p <= 0 || p >= 1) return p <= 0 ? -infinity : infinity;
  return -std::numbers::sqrt2 * boost::math::erfc_inv(2 * p);
}

double normal_density(double x) {
  return std::exp(-0.5 * x * x) / std::sqrt(2 * std::numbers::pi);
}

}  // namespace firstedge
