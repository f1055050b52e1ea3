#include "firstedge/timing/walk_measure.hpp"

#include "firstedge/timing/crossing_polynomial.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

// `count` samples around the middle between two of them; nothing where they are not all there.
std::optional<LocalPolynomial> curve_around(std::span<const double> volts, std::size_t before,
                                            std::size_t count, int degree) {
  const std::size_t half = count / 2;
  if (half == 0 || before + 1 < half || before + 1 + half > volts.size()) return std::nullopt;
  return LocalPolynomial(volts, before + 1 - half, 2 * half, degree);
}

std::optional<MeasuredWalk> slew(const PulseEdge& edge, const EdgeCrossing& crossing, double interval_s,
                                 std::size_t edge_samples) {
  const double at = crossing.position;
  const auto curve = curve_around(edge.volts(), static_cast<std::size_t>(at), edge_samples, 4);
  if (!curve || !(curve->slope(at) > 0)) return std::nullopt;
  SampleWeights weights;
  weights.add(curve->weights(at, 1), 1 / interval_s);
  // Noise moves the place at which the slope is taken, too.
  weights.add(crossing.value, -curve->bend(at) / crossing.slope_per_sample / interval_s);
  return MeasuredWalk{curve->slope(at) / interval_s, edge.on_trace(weights)};
}

// Where the pulse comes back through the level: the root of the curve, found twice so that its samples stand
// around it. slope_per_sample is negative.
std::optional<EdgeCrossing> come_back(const PulseEdge& edge, double level_v, std::size_t tail_samples) {
  const std::span<const double> volts = edge.volts();
  std::size_t before = edge.peak();
  while (before + 1 < volts.size() && !(volts[before] >= level_v && volts[before + 1] < level_v)) ++before;
  if (before + 1 >= volts.size()) return std::nullopt;
  constexpr int rounds = 3;
  constexpr int steps = 12;
  std::optional<EdgeCrossing> found;
  for (int round = 0; round < rounds; ++round) {
    const auto curve = curve_around(volts, before, tail_samples, tail_samples > 3 ? 2 : 1);
    if (!curve) return std::nullopt;
    const double half = static_cast<double>(tail_samples) / 2;
    const double middle = static_cast<double>(before) + 0.5;
    double at = middle;
    for (int step = 0; step < steps; ++step)
      at = std::clamp(at - (curve->value(at) - level_v) / curve->slope(at), middle - half, middle + half);
    const double slope = curve->slope(at);
    if (!(slope < 0) || !(std::abs(at - middle) < half)) return std::nullopt;
    found = EdgeCrossing{.position = at, .slope_per_sample = slope, .value = curve->weights(at, 0)};
    before = static_cast<std::size_t>(at);
  }
  return found;
}

std::optional<MeasuredWalk> time_over_threshold(const PulseEdge& edge, const EdgeCrossing& crossing,
                                                double level_v, double interval_s, std::size_t tail_samples) {
  const auto back = come_back(edge, level_v, tail_samples);
  if (!back) return std::nullopt;
  SampleWeights weights;
  weights.add(back->value, -interval_s / back->slope_per_sample);
  weights.add(crossing.value, interval_s / crossing.slope_per_sample);
  return MeasuredWalk{(back->position - crossing.position) * interval_s, edge.on_trace(weights)};
}

}  // namespace

std::optional<MeasuredWalk> walk_measure(const PulseEdge& edge, const EdgeCrossing& crossing, double level_v,
                                         double interval_s, WalkMeasure measure, std::size_t edge_samples,
                                         std::size_t tail_samples) {
  switch (measure) {
    case WalkMeasure::height:
      return MeasuredWalk{edge.height_v(), edge.height_on_trace()};
    case WalkMeasure::time_over_threshold:
      return time_over_threshold(edge, crossing, level_v, interval_s, tail_samples);
    case WalkMeasure::slew:
      return slew(edge, crossing, interval_s, edge_samples);
  }
  return std::nullopt;
}

}  // namespace firstedge
