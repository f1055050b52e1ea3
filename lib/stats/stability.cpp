#include "firstedge/stats/stability.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/stability_total.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

// A sum of squares of terms, how many there are, and what there is of what there might be.
using Sum = StabilitySum;

double second_difference(std::span<const double> x, std::size_t i, std::size_t m) {
  return (x[i + 2 * m] - x[i + m]) - (x[i + m] - x[i]);
}

double third_difference(std::span<const double> x, std::size_t i, std::size_t m) {
  return second_difference(x, i + m, m) - second_difference(x, i, m);
}

template <class Difference>
Sum sum_of(std::span<const double> x, std::size_t m, std::size_t reach, std::size_t stride,
           Difference difference) {
  Sum sum;
  if (x.size() <= reach) return sum;
  for (std::size_t i = 0; i < x.size() - reach; i += stride) sum.add(difference(x, i, m));
  return sum;
}

// Means of m second differences each, from running sums over those that are there.
Sum modified_sum(std::span<const double> x, std::size_t m) {
  Sum sum;
  if (m > x.size() / 3) return sum;
  std::vector<double> total{0};
  std::vector<std::size_t> there{0};
  for (std::size_t i = 0; i + 2 * m < x.size(); ++i) {
    const double difference = second_difference(x, i, m);
    const bool usable = std::isfinite(difference);
    total.push_back(total.back() + (usable ? difference : 0));
    there.push_back(there.back() + (usable ? 1 : 0));
  }
  const auto whole = static_cast<double>(m);
  for (std::size_t i = 0; i + m < total.size(); ++i) {
    const auto count = static_cast<double>(there[i + m] - there[i]);
    ++sum.possible;
    if (count < fewest_present * whole) continue;
    const double mean = (total[i + m] - total[i]) / count;
    sum.squares += mean * mean;
    ++sum.terms;
    sum.present += count / whole;
  }
  return sum;
}

// The variance is the mean square of the terms over this, times tau^2.
double divisor_of(StabilityMeasure measure) {
  switch (measure) {
    case StabilityMeasure::hadamard:
    case StabilityMeasure::overlapping_hadamard:
    case StabilityMeasure::hadamard_total:
    case StabilityMeasure::time:
    case StabilityMeasure::time_total:
      return 6;  // of the times: 2 tau^2 times 3/tau^2
    default:
      return 2;
  }
}

bool is_in_seconds(StabilityMeasure measure) {
  return measure == StabilityMeasure::time || measure == StabilityMeasure::time_total;
}

Sum sum_for(StabilityMeasure measure, std::span<const double> x, std::size_t m) {
  // Beyond this no measure has a term, and multiples of m could overflow.
  if (m >= x.size()) return {};
  switch (measure) {
    case StabilityMeasure::allan:
      return sum_of(x, m, 2 * m, m, second_difference);
    case StabilityMeasure::overlapping_allan:
      return sum_of(x, m, 2 * m, 1, second_difference);
    case StabilityMeasure::modified_allan:
    case StabilityMeasure::time:
      return modified_sum(x, m);
    case StabilityMeasure::hadamard:
      return sum_of(x, m, 3 * m, m, third_difference);
    case StabilityMeasure::overlapping_hadamard:
      return sum_of(x, m, 3 * m, 1, third_difference);
    case StabilityMeasure::total:
      return total_sum(x, m);
    case StabilityMeasure::modified_total:
    case StabilityMeasure::time_total:
      return modified_total_sum(x, m);
    case StabilityMeasure::hadamard_total:
      return m == 1 ? sum_of(x, m, 3, 1, third_difference) : hadamard_total_sum(x, m);
  }
  return {};
}

bool is_costly(StabilityMeasure measure) {
  return measure == StabilityMeasure::modified_total || measure == StabilityMeasure::time_total ||
         measure == StabilityMeasure::hadamard_total;
}

void check(double interval_s, StabilityMeasure measure, std::size_t points, std::size_t factor) {
  if (!(interval_s > 0) || !std::isfinite(interval_s))
    throw Error("stability", fmt::format("the interval {} s is not positive and finite", interval_s),
                "give the time between neighbouring points");
  if (factor == 0)
    throw Error("stability", "the averaging factor is 0", "give the number of intervals to average, from 1");
  if (is_costly(measure) && stability_terms(measure, points, factor) > 0 &&
      static_cast<double>(points) * static_cast<double>(factor) > most_total_work)
    throw Error("stability",
                fmt::format("the {} of {} points at factor {} would take too long", words_of(measure), points,
                            factor),
                "take a smaller factor, fewer points, or the overlapping kind");
}

}  // namespace

std::string_view words_of(StabilityMeasure measure) {
  constexpr std::array<std::string_view, 10> words{
      "Allan deviation",         "overlapping Allan deviation", "modified Allan deviation",
      "time deviation",          "Hadamard deviation",          "overlapping Hadamard deviation",
      "total deviation",         "modified total deviation",    "time total deviation",
      "Hadamard total deviation"};
  return words.at(static_cast<std::size_t>(measure));
}

std::span<const double> without_outer_gaps(std::span<const double> phase_s) {
  const auto usable = [](double value) { return std::isfinite(value); };
  const auto first = std::find_if(phase_s.begin(), phase_s.end(), usable);
  const auto last = std::find_if(phase_s.rbegin(), phase_s.rend(), usable);
  if (first == phase_s.end()) return {};
  const auto begin = static_cast<std::size_t>(first - phase_s.begin());
  const auto behind = static_cast<std::size_t>(last - phase_s.rbegin());
  return phase_s.subspan(begin, phase_s.size() - behind - begin);
}

StabilityPoint stability_at(std::span<const double> phase_s, double interval_s, StabilityMeasure measure,
                            std::size_t factor) {
  const std::span<const double> x = without_outer_gaps(phase_s);
  check(interval_s, measure, x.size(), factor);
  const double tau = static_cast<double>(factor) * interval_s;
  StabilityPoint point{.factor = factor, .averaging_time_s = tau};
  const Sum sum = sum_for(measure, x, factor);
  if (sum.terms == 0) return point;
  point.terms = sum.terms;
  point.present = sum.present / static_cast<double>(sum.possible);
  const double root = std::sqrt(sum.squares / static_cast<double>(sum.terms) / divisor_of(measure));
  point.deviation = is_in_seconds(measure) ? root : root / tau;
  return point;
}

std::size_t stability_terms(StabilityMeasure measure, std::size_t points, std::size_t factor) {
  if (factor == 0 || factor > points) return 0;
  const auto over = [](std::size_t size, std::size_t reach) { return size > reach ? size - reach : 0; };
  switch (measure) {
    case StabilityMeasure::allan:
      return (over(points, 2 * factor) + factor - 1) / factor;
    case StabilityMeasure::overlapping_allan:
      return over(points, 2 * factor);
    case StabilityMeasure::hadamard:
      return (over(points, 3 * factor) + factor - 1) / factor;
    case StabilityMeasure::overlapping_hadamard:
    case StabilityMeasure::hadamard_total:
      return over(points, 3 * factor);
    case StabilityMeasure::total:
      return factor < points ? over(points, 2) : 0;
    case StabilityMeasure::modified_allan:
    case StabilityMeasure::time:
    case StabilityMeasure::modified_total:
    case StabilityMeasure::time_total:
      return over(points + 1, 3 * factor);
  }
  return 0;
}

std::vector<std::size_t> averaging_factors(StabilityMeasure measure, std::size_t points,
                                           FactorSpacing spacing, std::size_t most) {
  std::vector<std::size_t> factors;
  const auto has_term = [&](std::size_t factor) { return stability_terms(measure, points, factor) > 0; };
  constexpr std::array<std::size_t, 3> in_decade{1, 2, 5};
  std::size_t power = 1;
  for (std::size_t i = 0;; ++i) {
    std::size_t factor = i + 1;
    if (spacing == FactorSpacing::octave) factor = std::size_t{1} << std::min<std::size_t>(i, 62);
    if (spacing == FactorSpacing::decade) {
      factor = power * in_decade.at(i % 3);
      if (i % 3 == 2) power *= 10;
    }
    if (!has_term(factor)) break;
    factors.push_back(factor);
  }
  if (factors.size() <= most) return factors;
  std::vector<std::size_t> kept;
  for (std::size_t i = 0; i < most; ++i) kept.push_back(factors[i * factors.size() / most]);
  return kept;
}

}  // namespace firstedge
