#include "firstedge/timing/crossing_height.hpp"

#include "firstedge/timing/crossing_polynomial.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace firstedge {
namespace {

/// Stretches longer than this bring nothing but work.
constexpr std::size_t most_samples = 512;

std::size_t half_width(double share, double edge_samples, std::size_t least) {
  const double wanted = std::isfinite(edge_samples) ? std::round(share * edge_samples) : 0.0;
  return static_cast<std::size_t>(std::clamp(wanted, static_cast<double>(least), most_samples / 2.0));
}

/// `half` samples on either side of the middle, moved and cut to stay within.
SampleRange stretch(std::size_t middle, std::size_t half, const SampleRange& within) {
  const std::size_t count = std::min(2 * half + 1, within.size());
  const std::size_t wanted = middle - std::min(middle, half);
  const std::size_t first = std::clamp(wanted, within.first, within.last - count);
  return {first, first + count};
}

LocalPolynomial fit(std::span<const double> volts, const SampleRange& samples, int degree) {
  return {volts, samples.first, samples.size(), degree};
}

/// The mean of a top that is flat within the noise: neither its slope nor its bend stand out (3 standard
/// deviations each), over more than three edge lengths. Its ends, where the edges round off, are left out.
std::optional<PeakHeight> flat_top(std::span<const double> volts, const SampleRange& within, std::size_t peak,
                                   double edge_samples, const SampleNoise& noise) {
  constexpr double standing_out = 3;
  // The highest of many samples stands some 3 deviations over the top, the lowest as many under it.
  const double margin_v = std::clamp(8 * noise.deviation_v(), 0.05 * volts[peak], 0.4 * volts[peak]);
  SampleRange top{peak, peak + 1};
  while (top.first > within.first && volts[top.first - 1] >= volts[peak] - margin_v) --top.first;
  while (top.last < within.last && volts[top.last] >= volts[peak] - margin_v) ++top.last;
  const std::size_t end = half_width(0.75, edge_samples, 2);
  if (top.size() < 2 * end + half_width(3, edge_samples, 8)) return std::nullopt;
  top = {top.first + end, std::min(top.last - end, top.first + end + most_samples)};

  const LocalPolynomial shape = fit(volts, top, 2);
  const double rounding_v = 1e-12 * volts[peak];
  const double allowed_v = standing_out * noise.deviation_v() + rounding_v;
  if (std::abs(shape.strength(1)) > allowed_v || std::abs(shape.strength(2)) > allowed_v) return std::nullopt;
  const LocalPolynomial mean = fit(volts, top, 0);
  return PeakHeight{mean.value(mean.first()), mean.weights(mean.first(), 0)};
}

/// Where the cubic through the stretch has its maximum, within a sample and a half of the start.
std::optional<double> place_of_maximum(const LocalPolynomial& curve, double start) {
  constexpr double reach = 1.5;
  constexpr int steps = 8;
  const double low = std::max(start - reach, curve.first()), high = std::min(start + reach, curve.last());
  double place = start;
  for (int step = 0; step < steps; ++step) {
    const auto [slope, bend] = curve.derivatives(place);
    if (!(bend < 0)) return std::nullopt;
    const double next = std::clamp(place - slope / bend, low, high);
    if (next == place) break;
    place = next;
  }
  return curve.bend(place) < 0 ? std::optional(place) : std::nullopt;
}

}  // namespace

PeakHeight peak_height(std::span<const double> volts, const SampleRange& within, std::size_t peak,
                       double edge_samples, const SampleNoise& noise) {
  PeakHeight largest{volts[peak], {}};
  largest.weights.add(peak, 1);
  constexpr std::size_t fewest = 5;
  if (within.size() < fewest) return largest;
  if (auto flat = flat_top(volts, within, peak, edge_samples, noise)) return *flat;
  if (peak == within.first || peak + 1 == within.last) return largest;

  const std::size_t wide_half = half_width(0.75, edge_samples, 3);
  auto place = std::optional(static_cast<double>(peak));
  std::optional<LocalPolynomial> wide;
  for (int round = 0; round < 2 && place; ++round) {
    const auto middle = static_cast<std::size_t>(std::lround(*place));
    wide = fit(volts, stretch(middle, wide_half, within), 3);
    place = place_of_maximum(*wide, static_cast<double>(middle));
  }
  if (!place) return largest;

  const auto middle = static_cast<std::size_t>(std::lround(*place));
  const std::size_t close_half = half_width(0.45, edge_samples, 3);
  const LocalPolynomial close = fit(volts, stretch(middle, close_half, within), 4);
  const double bend = -wide->bend(*place);
  const double slope = close.slope(*place);
  PeakHeight height{0, close.weights(*place, 0)};
  const double deviation_v = std::sqrt(noise.variance_of_samples_v2(height.weights));
  const SampleWeights slope_weights = close.weights(*place, 1);
  const double step_v = (slope * slope - noise.variance_of_samples_v2(slope_weights)) / (2 * bend);
  const double most_v = std::max(deviation_v, 0.05 * volts[peak]);
  height.value_v = close.value(*place) + std::clamp(step_v, -most_v, most_v);
  height.weights.add(slope_weights, std::clamp(slope / bend, -1.0, 1.0));
  return height;
}

}  // namespace firstedge
