#include "firstedge/stats/stability_total.hpp"

#include <algorithm>
#include <vector>

namespace firstedge {
namespace {

// The series continued beyond its ends by reflection through its end points; index from -(n-1) to 2(n-1).
double reflected(std::span<const double> x, std::ptrdiff_t i) {
  const auto last = static_cast<std::ptrdiff_t>(x.size()) - 1;
  if (i < 0) return 2 * x[0] - x[static_cast<std::size_t>(-i)];
  if (i > last) return 2 * x.back() - x[static_cast<std::size_t>(2 * last - i)];
  return x[static_cast<std::size_t>(i)];
}

// Slope by the difference of the means of the two halves (without the middle of an odd number).
double half_average_slope(std::span<const double> values) {
  const std::size_t half = values.size() / 2;
  double sum = 0;
  for (std::size_t i = 0; i < half; ++i) sum += values[values.size() - 1 - i] - values[i];
  return sum / (static_cast<double>(half) * static_cast<double>(values.size() - half));
}

// Mean square of the 6 m second differences of m-averages of 3 m values without slope, reflected in time at
// both ends.
double mean_square_reflected(std::span<const double> values, std::size_t m, std::vector<double>& running) {
  const std::size_t size = values.size();
  const double slope = half_average_slope(values);
  running.assign(1, 0.0);
  for (std::size_t part = 0; part < 3; ++part) {
    for (std::size_t i = 0; i < size; ++i) {
      const std::size_t at = part == 1 ? i : size - 1 - i;
      running.push_back(running.back() + (values[at] - values[0]) - slope * static_cast<double>(at));
    }
  }
  const auto sum_from = [&](std::size_t i) { return running[i + m] - running[i]; };
  double squares = 0;
  for (std::size_t i = 0; i < 6 * m; ++i) {
    const double difference = sum_from(i + 2 * m) - 2 * sum_from(i + m) + sum_from(i);
    squares += difference * difference;
  }
  const auto whole = static_cast<double>(m);
  return squares / (6 * whole * whole * whole);
}

// Over all stretches of 3 m values; each value of the mean square times scale^2.
StabilitySum sum_of_stretches(std::span<const double> values, std::size_t m, double scale) {
  StabilitySum sum;
  if (m > values.size() / 3) return sum;
  std::vector<double> running;
  std::size_t gaps = 0;
  const auto is_gap = [&](std::size_t i) { return std::isfinite(values[i]) ? 0U : 1U; };
  for (std::size_t i = 0; i < 3 * m - 1; ++i) gaps += is_gap(i);
  for (std::size_t first = 0; first + 3 * m <= values.size(); ++first) {
    gaps += is_gap(first + 3 * m - 1);
    ++sum.possible;
    if (gaps == 0) {
      sum.squares += scale * scale * mean_square_reflected(values.subspan(first, 3 * m), m, running);
      ++sum.terms;
      ++sum.present;
    }
    gaps -= is_gap(first);
  }
  return sum;
}

}  // namespace

StabilitySum total_sum(std::span<const double> phase, std::size_t factor) {
  StabilitySum sum;
  const auto m = static_cast<std::ptrdiff_t>(factor);
  for (std::ptrdiff_t i = 1; i + 1 < static_cast<std::ptrdiff_t>(phase.size()); ++i) {
    const double centre = phase[static_cast<std::size_t>(i)];
    sum.add((reflected(phase, i + m) - centre) - (centre - reflected(phase, i - m)));
  }
  return sum;
}

StabilitySum modified_total_sum(std::span<const double> phase, std::size_t factor) {
  return sum_of_stretches(phase, factor, 1);
}

StabilitySum hadamard_total_sum(std::span<const double> phase, std::size_t factor) {
  if (phase.size() < 2) return {};
  std::vector<double> steps;
  for (std::size_t i = 1; i < phase.size(); ++i) steps.push_back(phase[i] - phase[i - 1]);
  // A mean step times m is the change of phase over tau.
  return sum_of_stretches(steps, factor, static_cast<double>(factor));
}

}  // namespace firstedge
