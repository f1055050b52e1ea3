#include "firstedge/timing/crossing_edge.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

/// Samples kept on either side of the region, for the stencils of the interpolation.
constexpr std::size_t margin = 8;

std::optional<std::size_t> first_rise(std::span<const double> volts, std::size_t from, std::size_t to,
                                      double level_v) {
  for (std::size_t k = from; k < to; ++k) {
    if (volts[k] < level_v && volts[k + 1] >= level_v) return k;
  }
  return std::nullopt;
}

}  // namespace

PulseEdge::PulseEdge(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                     Interpolation interpolation, std::size_t samples_after)
    : trace_(&trace), pulse_(&pulse), noise_(noise, trace), interpolation_(interpolation) {
  const std::size_t size = trace.volts.size();
  offset_ = pulse.region.first - std::min(pulse.region.first, margin);
  const std::size_t last = std::min(size, pulse.region.last + margin + std::min(samples_after, size));
  start_ = pulse.region.first - offset_;
  peak_ = pulse.peak - offset_;
  volts_.reserve(last - offset_);
  for (std::size_t k = offset_; k < last; ++k) volts_.push_back(pulse.polarity * trace.volts[k]);
  height_ = peak_height(volts_, peak_);
  half_ = first_rise(volts_, start_, peak_, height_.value_v / 2);
}

std::optional<Crossing> PulseEdge::crossing(double level_v) const {
  if (!half_) return std::nullopt;
  std::size_t before = *half_;
  while (before > start_ && volts_[before] >= level_v) --before;
  while (before + 1 < peak_ && volts_[before + 1] < level_v) ++before;
  if (!(volts_[before] < level_v && volts_[before + 1] >= level_v)) return std::nullopt;
  return find_crossing(volts_, before, level_v, interpolation_);
}

SampleWeights PulseEdge::value_weights(double position) const {
  return interpolation_weights(volts_.size(), position, interpolation_);
}

double PulseEdge::transition_samples() const {
  const std::optional<Crossing> low = crossing(0.1 * height_.value_v);
  const std::optional<Crossing> high = crossing(0.9 * height_.value_v);
  return low && high ? high->position - low->position : not_known;
}

Stamp PulseEdge::untimed() const {
  Stamp stamp;
  stamp.polarity = static_cast<std::int16_t>(pulse_->polarity);
  stamp.height_v = height_.value_v;
  stamp.charge_c = pulse_->charge_c;
  stamp.noise_v = noise_.deviation_v();
  stamp.baseline_v = trace_->baseline_v.value;
  const double samples = transition_samples();
  stamp.transition_duration_s = samples * trace_->interval_s;
  stamp.flags = pulse_->flags | trace_->flags | Flag::not_timed;
  if (samples < fewest_edge_samples) stamp.flags |= Flag::undersampled;
  return stamp;
}

Stamp PulseEdge::timed(const Crossing& crossing, const SampleWeights& quantity) const {
  Stamp stamp = untimed();
  const double time_s = trace_->time_s(static_cast<double>(offset_) + crossing.position);
  const double slew_v_per_s = crossing.slope_per_sample / trace_->interval_s;
  const double uncertainty_s = std::sqrt(noise_.variance_v2(quantity)) / slew_v_per_s;
  if (!(slew_v_per_s > 0) || !std::isfinite(time_s) || !std::isfinite(uncertainty_s)) return stamp;
  stamp.time_s = time_s;
  stamp.uncertainty_s = uncertainty_s;
  stamp.slew_v_per_s = slew_v_per_s;
  stamp.flags = FlagSet::from_bits(stamp.flags.bits() & ~FlagSet(Flag::not_timed).bits());
  return stamp;
}

}  // namespace firstedge
