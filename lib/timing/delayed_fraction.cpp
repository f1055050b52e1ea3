#include "firstedge/timing/delayed_fraction.hpp"

#include "firstedge/timing/crossing_edge.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

namespace firstedge {
namespace {

/// h(k) = s(k - delay) - fraction * s(k), so that its zero crossing rises like an edge. Index 0 is the first
/// sample of the pulse's region less the margin that the curves need.
class DelayedDifference {
 public:
  DelayedDifference(const PulseEdge& edge, double fraction, double delay_samples)
      : edge_(edge), fraction_(fraction), delay_(delay_samples) {
    // The crossing is below the delayed peak; the fits around it reach at most as far as the edge is long.
    const std::size_t count = std::min(edge.volts().size(), past_delayed_peak() + edge.peak());
    values_.reserve(count);
    for (std::size_t k = 0; k < count; ++k) {
      double delayed = 0;
      const Stencil stencil = stencil_of(k);
      for (std::size_t i = 0; i < stencil.size; ++i)
        delayed += stencil.weights[i] * edge.volts()[stencil.first + i];
      values_.push_back(delayed - fraction * edge.volts()[k]);
    }
  }

  /// From the top of h after the pulse's start back to the last value below zero.
  std::optional<EdgeCrossing> crossing() const {
    const std::size_t last = std::min(values_.size(), past_delayed_peak());
    const auto from = values_.begin() + static_cast<std::ptrdiff_t>(edge_.start());
    const auto top = std::max_element(from, values_.begin() + static_cast<std::ptrdiff_t>(last));
    auto before = static_cast<std::size_t>(top - values_.begin());
    while (before > edge_.start() && values_[before] >= 0) --before;
    if (!(values_[before] < 0)) return std::nullopt;
    auto crossing = cross(values_, before, 0, edge_.curve(), deviation_v(), edge_.transition_samples());
    const double least = *std::min_element(from, values_.begin() + static_cast<std::ptrdiff_t>(before) + 1);
    if (crossing && deviation_v() > 0) crossing->room_over_noise = std::min(-least, *top) / deviation_v();
    return crossing;
  }

  /// A weighted sum of values of h as one of samples of the trace.
  SampleWeights on_samples(const SampleWeights& sum) const {
    SampleWeights weights;
    for (std::size_t i = 0; i < sum.weights().size(); ++i) {
      const std::size_t k = sum.first() + i;
      weights.add(stencil_of(k), sum.weights()[i]);
      weights.add(k, -fraction_ * sum.weights()[i]);
    }
    return weights;
  }

 private:
  Stencil stencil_of(std::size_t k) const {
    return stencil_at(edge_.volts(), std::max(0.0, static_cast<double>(k) - delay_), Interpolation::quintic,
                      edge_.noise().deviation_v());
  }
  std::size_t past_delayed_peak() const {
    return edge_.peak() + static_cast<std::size_t>(std::ceil(delay_)) + 2;
  }
  double deviation_v() const { return std::hypot(1.0, fraction_) * edge_.noise().deviation_v(); }

  const PulseEdge& edge_;
  double fraction_;
  double delay_;
  std::vector<double> values_;
};

}  // namespace

Stamp delayed_fraction(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                       const DelayedFractionOptions& options) {
  const double delay = options.delay_s / trace.interval_s;
  const auto samples_after =
      static_cast<std::size_t>(std::clamp(std::ceil(delay), 0.0, static_cast<double>(trace.volts.size())));
  const PulseEdge edge(trace, pulse, noise, {options.interpolation, options.edge_samples}, samples_after);
  const DelayedDifference difference(edge, options.fraction, std::min(delay, double(trace.volts.size())));
  const auto crossing = difference.crossing();
  if (!crossing) return edge.untimed();
  return edge.timed(*crossing, edge.on_trace(difference.on_samples(crossing->value)));
}

}  // namespace firstedge
