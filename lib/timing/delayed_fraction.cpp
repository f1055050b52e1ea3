#include "firstedge/timing/delayed_fraction.hpp"

#include "firstedge/timing/crossing_edge.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

namespace firstedge {
namespace {

/// h(k) = s(k - delay) - fraction * s(k), so that its zero crossing rises like an edge.
class DelayedDifference {
 public:
  DelayedDifference(const PulseEdge& edge, double fraction, double delay_samples)
      : edge_(edge), fraction_(fraction), delay_(delay_samples) {
    values_.reserve(edge.volts().size());
    for (std::size_t k = 0; k < edge.volts().size(); ++k)
      values_.push_back(interpolated(edge.volts(), position_of(k), edge.interpolation()) -
                        fraction * edge.volts()[k]);
  }

  /// From the top of h after the pulse's start back to the first value below zero.
  std::optional<Crossing> crossing() const {
    const auto reach = static_cast<std::size_t>(std::ceil(delay_)) + 1;
    const std::size_t last = std::min(values_.size(), edge_.peak() + reach + 1);
    const auto from = values_.begin() + static_cast<std::ptrdiff_t>(edge_.start());
    const auto top = std::max_element(from, values_.begin() + static_cast<std::ptrdiff_t>(last));
    auto before = static_cast<std::size_t>(top - values_.begin());
    while (before > edge_.start() && values_[before] >= 0) --before;
    if (!(values_[before] < 0)) return std::nullopt;
    return find_crossing(values_, before, 0, edge_.interpolation());
  }

  /// h between samples as weights of the samples of the trace.
  SampleWeights value_weights(double position) const {
    const SampleWeights stencil = edge_.value_weights(position);
    SampleWeights weights;
    for (std::size_t k = 0; k < stencil.weights().size(); ++k) {
      const std::size_t sample = stencil.first() + k;
      weights.add(edge_.value_weights(position_of(sample)), stencil.weights()[k]);
      weights.add(sample, -fraction_ * stencil.weights()[k]);
    }
    return weights;
  }

 private:
  double position_of(std::size_t k) const { return std::max(0.0, static_cast<double>(k) - delay_); }

  const PulseEdge& edge_;
  double fraction_;
  double delay_;
  std::vector<double> values_;
};

}  // namespace

Stamp delayed_fraction(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                       const DelayedFractionOptions& options) {
  const double delay = options.delay_s / trace.interval_s;
  const auto samples_after =
      static_cast<std::size_t>(std::clamp(std::ceil(delay), 0.0, static_cast<double>(trace.volts.size())));
  const PulseEdge edge(trace, pulse, noise, options.interpolation, samples_after);
  const DelayedDifference difference(edge, options.fraction, std::min(delay, double(trace.volts.size())));
  const auto crossing = difference.crossing();
  if (!crossing) return edge.untimed();
  return edge.timed(*crossing, difference.value_weights(crossing->position));
}

}  // namespace firstedge
