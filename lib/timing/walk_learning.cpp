#include "firstedge/timing/walk_learning.hpp"

#include "firstedge/timing/crossing_edge.hpp"
#include "firstedge/timing/walk_measure.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

namespace firstedge {
namespace {

// A pulse that may serve: its edge and where that crosses the level.
struct Sighted {
  PulseEdge edge;
  EdgeCrossing crossing;
  double level_v = 0, interval_s = 0;
  double late_s = 0, uncertainty_s = 0;  // against the reference
  double height_v = 0;                   // as the reference has it
};

std::optional<Sighted> sighted(const PulseInTrace& one, const Stamp& reference, const ChannelNoise& noise,
                               const LeadingEdgeOptions& options, FlagSet allowed) {
  const Stamp stamp = leading_edge(*one.trace, one.pulse, noise, options);
  if (!(stamp.flags | reference.flags).without(allowed | doubts_of_uncertainty).empty()) return std::nullopt;
  PulseEdge edge(*one.trace, one.pulse, noise, {options.interpolation, options.edge_samples});
  const double level_v =
      options.threshold_v.value_or(options.threshold_over_noise * edge.noise().deviation_v());
  auto crossing = edge.crossing(level_v);
  if (!crossing) return std::nullopt;
  return Sighted{.edge = std::move(edge),
                 .crossing = std::move(*crossing),
                 .level_v = level_v,
                 .interval_s = one.trace->interval_s,
                 .late_s = stamp.time_s - reference.time_s,
                 .uncertainty_s = std::hypot(stamp.uncertainty_s, reference.uncertainty_s),
                 .height_v = reference.height_v};
}

// An even number, `share` of the median of the values, from 6 to 32.
std::size_t even_share(std::vector<double> values, double share) {
  constexpr double least = 3, most = 16;
  std::erase_if(values, [](double value) { return !std::isfinite(value); });
  if (values.empty()) return static_cast<std::size_t>(2 * least);
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return 2 * static_cast<std::size_t>(std::clamp(std::round(share * *middle / 2), least, most));
}

// The walk by its measure, from the walk by the height and the measure (the negative of its logarithm) by the
// height: the two are composed where they are, so that the noise of a measure does not flatten the curve, as
// it would if the walk were fitted against the noisy measure itself.
FallingCurve by_measure(const FallingCurve& walk, const FallingCurve& measure) {
  FallingCurve made{.first_log = -measure.value.front(),
                    .step_log = 0,
                    .value = {},
                    .uncertainty = {},
                    .points_used = std::min(walk.points_used, measure.points_used),
                    .scatter = walk.scatter};
  const std::size_t points = walk.value.size();
  made.step_log = (measure.value.front() - measure.value.back()) / static_cast<double>(points - 1);
  const double last_log = measure.first_log + measure.step_log * static_cast<double>(points - 1);
  for (std::size_t i = 0; i < points; ++i) {
    const double wanted = -made.first_log - static_cast<double>(i) * made.step_log;
    // The height of this measure: the curve falls, so that halving finds it.
    double low = measure.first_log;
    double high = last_log;
    for (int round = 0; round < 60; ++round) {
      const double middle = 0.5 * (low + high);
      (value_at(measure, std::exp(middle)).value > wanted ? low : high) = middle;
    }
    const double height = std::exp(0.5 * (low + high));
    const CurveValue late = value_at(walk, height);
    const CurveValue told = value_at(measure, height);
    const double before = made.value.empty() ? late.value : made.value.back();
    made.value.push_back(std::min(late.value, before));
    const double per_measure = told.per_log < 0 ? late.per_log / told.per_log : 0;
    made.uncertainty.push_back(std::hypot(late.uncertainty, per_measure * told.uncertainty));
  }
  return made;
}

// The shares of the edge and of the time over threshold over which a quartic and a parabola follow a pulse.
constexpr double edge_share = 1.8, tail_share = 0.3;

}  // namespace

WalkCorrection learn_walk(std::span<const PulseInTrace> pulses, std::span<const Stamp> reference,
                          const NoiseModel& noise, const LeadingEdgeOptions& edge, WalkMeasure measure,
                          const FallingCurveOptions& options) {
  assert(pulses.size() == reference.size());
  const ChannelNoise known(noise);
  const FlagSet allowed = measure == WalkMeasure::height ? FlagSet() : FlagSet(Flag::clipped);
  std::vector<Sighted> used;
  std::vector<double> transitions;
  std::vector<double> lengths;
  WalkCorrection curve{.measure = measure};
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    auto one = sighted(pulses[i], reference[i], known, edge, allowed);
    if (!one) continue;
    transitions.push_back(one->edge.transition_samples());
    const auto length = walk_measure(one->edge, one->crossing, one->level_v, one->interval_s,
                                     WalkMeasure::time_over_threshold, 0, 4);
    if (length) lengths.push_back(length->value / one->interval_s);
    curve.threshold_v = one->level_v;
    used.push_back(std::move(*one));
  }
  curve.edge_samples = even_share(std::move(transitions), edge_share);
  curve.tail_samples = even_share(std::move(lengths), tail_share);
  std::vector<CurvePoint> late;
  std::vector<CurvePoint> measures;
  for (const Sighted& one : used) {
    const auto measured = walk_measure(one.edge, one.crossing, one.level_v, one.interval_s, measure,
                                       curve.edge_samples, curve.tail_samples);
    if (!measured || !(measured->value > 0)) continue;
    const double deviation = std::sqrt(one.edge.noise().variance_v2(measured->on_trace));
    late.push_back({one.height_v, one.late_s, one.uncertainty_s});
    measures.push_back({one.height_v, -std::log(measured->value), deviation / measured->value});
  }
  curve.walk = by_measure(falling_curve(late, options), falling_curve(measures, options));
  return curve;
}

}  // namespace firstedge
