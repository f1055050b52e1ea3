#include "firstedge/signal/sample_step.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>
#include <optional>
#include <vector>

namespace firstedge {
namespace {

constexpr std::size_t fewest_samples = 32;

/// Each of the finite values once (but 0 and -0 may both be there), in no order: quantised ones are few, so
/// that sorting them is soon done. Nothing if there are more than `most`.
std::optional<std::vector<double>> without_repeats(std::span<const double> values, std::size_t most) {
  // A table of places by the number's bits, at most half full.
  const std::size_t places = std::bit_ceil(2 * most + 1);
  const int shift = 64 - std::countr_zero(places);
  constexpr std::uint64_t odd = 0x9e3779b97f4a7c15;  // 2^64 over the golden ratio
  constexpr auto empty = std::numeric_limits<double>::quiet_NaN();
  std::vector<double> table(places, empty);
  std::vector<double> once;
  for (const double value : values) {
    if (!std::isfinite(value)) continue;
    std::size_t place = (std::bit_cast<std::uint64_t>(value) * odd) >> static_cast<unsigned>(shift);
    while (!std::isnan(table[place]) && table[place] != value) place = (place + 1) & (places - 1);
    if (table[place] == value) continue;
    if (once.size() == most) return std::nullopt;
    table[place] = value;
    once.push_back(value);
  }
  return once;
}

/// The distinct values, in order; values closer than rounding count as one.
std::vector<double> distinct_values(std::span<const double> values) {
  // Of counts there are few, and a table of few places stays near.
  auto once = without_repeats(values, values.size() / 8);
  std::vector<double> sorted = once ? *std::move(once) : *without_repeats(values, values.size());
  std::sort(sorted.begin(), sorted.end());
  if (sorted.empty()) return sorted;
  constexpr double rounding = 1e-6;  // of the range: below a count of 16 bits
  const double merged = rounding * (sorted.back() - sorted.front());
  const auto last =
      std::unique(sorted.begin(), sorted.end(), [=](double a, double b) { return b - a <= merged; });
  sorted.erase(last, sorted.end());
  return sorted;
}

/// The mean of the gaps that are less than one and a half times the smallest.
double smallest_gap(const std::vector<double>& gaps) {
  const double least = *std::min_element(gaps.begin(), gaps.end());
  double sum = 0, count = 0;
  for (const double gap : gaps) {
    if (gap >= 1.5 * least) continue;
    sum += gap;
    ++count;
  }
  return sum / count;
}

}  // namespace

double step_between_values(std::span<const double> values) {
  if (values.size() < fewest_samples) return 0;
  // Measured volts that never were counts are told from a few of them, without sorting all.
  const std::vector<double> first = distinct_values(values.first(fewest_samples));
  if (first.size() > fewest_samples * 3 / 4) return 0;
  const std::vector<double> distinct = distinct_values(values);
  if (distinct.size() < 2 || distinct.size() > values.size() / 4) return 0;
  std::vector<double> gaps;
  for (std::size_t i = 1; i < distinct.size(); ++i) gaps.push_back(distinct[i] - distinct[i - 1]);
  const double step = smallest_gap(gaps);
  const auto whole = std::count_if(gaps.begin(), gaps.end(), [step](double gap) {
    return std::abs(gap / step - std::round(gap / step)) <= 0.3;
  });
  return 10 * static_cast<std::size_t>(whole) >= 9 * gaps.size() ? step : 0;
}

}  // namespace firstedge
