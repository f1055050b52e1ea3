#include "firstedge/timing/crossing_edge.hpp"

#include "firstedge/timing/crossing_polynomial.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {
namespace {

/// Samples kept on either side of the region, for the stencils of the curves.
constexpr std::size_t margin = 8;

std::optional<std::size_t> first_rise(std::span<const double> volts, std::size_t from, std::size_t to,
                                      double level_v) {
  for (std::size_t k = from; k < to; ++k) {
    if (volts[k] < level_v && volts[k + 1] >= level_v) return k;
  }
  return std::nullopt;
}

std::optional<EdgeCrossing> cross_interpolated(std::span<const double> values, std::size_t before,
                                               double level, Interpolation interpolation, double noise_rms) {
  const auto found = find_crossing(values, before, level, interpolation, noise_rms);
  if (!found) return std::nullopt;
  EdgeCrossing crossing{.position = found->position, .slope_per_sample = found->slope_per_sample};
  crossing.value.add(found->stencil, 1);
  return crossing;
}

/// The least-squares curve is placed around the bracket of the samples, then once more around the bracket of
/// its own crossing, which noise moves less.
std::optional<EdgeCrossing> cross_fitted(std::span<const double> values, std::size_t before, double level,
                                         std::size_t edge_samples) {
  constexpr int degree = 5;
  constexpr double reach = 1.5;
  const std::size_t half = edge_samples / 2;
  std::optional<EdgeCrossing> crossing;
  for (int round = 0; round < 2; ++round) {
    if (before + 1 < half || before + 1 + half > values.size()) return std::nullopt;
    const LocalPolynomial curve(values, before + 1 - half, edge_samples, degree);
    const double middle = static_cast<double>(before) + 0.5;
    double position = middle;
    for (int step = 0; step < 12; ++step) {
      position = std::clamp(position - (curve.value(position) - level) / curve.slope(position),
                            middle - reach, middle + reach);
    }
    const double slope = curve.slope(position);
    if (!(slope > 0) || !(std::abs(position - middle) < reach)) return std::nullopt;
    crossing =
        EdgeCrossing{.position = position, .slope_per_sample = slope, .value = curve.weights(position, 0)};
    before = static_cast<std::size_t>(position);
  }
  return crossing;
}

/// The slope at a position: of a quintic through as few samples around it as the noise permits, or, where
/// that is not enough, of a cubic; NaN where they are not all there.
double fitted_slope(std::span<const double> values, double position, double noise_rms,
                    double transition_samples) {
  constexpr double known_well = 0.06, known = 0.15;  // relative; an uncertainty is changed by as much
  constexpr double quintic_length = 1.8, cubic_length = 1.3;  // transitions; further out the edge bends away
  constexpr double least = 3, most = 128;                     // samples on either side
  if (!std::isfinite(transition_samples) || !(position >= 0)) return not_known;
  const std::size_t after = static_cast<std::size_t>(position) + 1;
  const std::size_t room = std::min(after, values.size() - std::min(values.size(), after));
  const auto half_of = [&](double length, double shortest) {
    const double half = std::clamp(std::round(length / 2 * transition_samples), shortest, most);
    return std::min(static_cast<std::size_t>(half), room);
  };
  const auto curve = [&](std::size_t half, int degree) {
    return LocalPolynomial(values, after - half, 2 * half, degree);
  };
  const std::size_t widest = half_of(quintic_length, least + 1);
  if (widest < static_cast<std::size_t>(least)) return not_known;
  double slope = 0, noise = 0;
  for (auto half = static_cast<std::size_t>(least);; half = std::min(half + 1 + half / 4, widest)) {
    const auto found = curve(half, 5).slope_in_noise(position);
    slope = found.slope;
    noise = noise_rms * found.noise_gain;
    if (noise <= known_well * slope || half == widest) break;
  }
  return noise <= known * slope ? slope : curve(half_of(cubic_length, least), 3).slope(position);
}

}  // namespace

double EdgeCurve::relative_error(double samples_in_transition) const {
  const double n = samples_in_transition;
  if (edge_samples > 0) return 5e-5 * std::pow(static_cast<double>(edge_samples) / n, 6);
  switch (interpolation) {
    case Interpolation::linear:
      return 0.1 / (n * n);
    case Interpolation::cubic:
      return 0.25 / std::pow(n, 4);
    case Interpolation::quintic:
      return 0.8 / std::pow(n, 6);
  }
  return 0;
}

std::optional<EdgeCrossing> cross(std::span<const double> values, std::size_t before, double level,
                                  const EdgeCurve& curve, double noise_rms, double transition_samples) {
  std::optional<EdgeCrossing> crossing;
  if (curve.edge_samples > 0) crossing = cross_fitted(values, before, level, curve.edge_samples);
  if (!crossing) crossing = cross_interpolated(values, before, level, curve.interpolation, noise_rms);
  if (!crossing) return std::nullopt;
  const double slope = fitted_slope(values, crossing->position, noise_rms, transition_samples);
  if (slope > 0) crossing->slope_per_sample = slope;
  return crossing;
}

PulseEdge::PulseEdge(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                     const EdgeCurve& curve, std::size_t samples_after)
    : trace_(&trace), pulse_(&pulse), noise_(noise, trace), curve_(curve) {
  const std::size_t size = trace.volts.size();
  const std::size_t before = margin + curve.edge_samples / 2;
  offset_ = pulse.region.first - std::min(pulse.region.first, before);
  const std::size_t last = std::min(size, pulse.region.last + before + std::min(samples_after, size));
  start_ = pulse.region.first - offset_;
  peak_ = pulse.peak - offset_;
  samples_ = last - offset_;
  if (pulse.polarity < 0) {
    turned_.reserve(samples_);
    for (std::size_t k = offset_; k < last; ++k) turned_.push_back(-trace.volts[k]);
  }
  const std::span<const double> v = volts();
  half_ = first_rise(v, start_, peak_, v[peak_] / 2);
  transition_samples_ =
      position_of(0.9 * v[peak_], Interpolation::linear) - position_of(0.1 * v[peak_], Interpolation::linear);
  const SampleRange within{start_, pulse.region.last - offset_};
  const PeakHeight height = peak_height(v, within, peak_, transition_samples_, noise_);
  height_v_ = height.value_v;
  height_on_trace_ = on_trace(height.weights);
  edge_samples_ = edge_samples();
}

PulseEdge PulseEdge::with_height(const PeakHeight& height_on_trace) const {
  PulseEdge edge = *this;
  edge.height_v_ = height_on_trace.value_v;
  edge.height_on_trace_ = height_on_trace.weights;
  edge.edge_samples_ = edge.edge_samples();
  return edge;
}

// The samples of volts() around one of them that are not clipped.
SampleRange PulseEdge::unclipped_around(std::size_t sample) const {
  SampleRange run{0, samples_};
  for (const SampleRange& clipped : trace_->clipped) {
    if (clipped.last <= offset_ + sample) {
      run.first = std::max(run.first, clipped.last - std::min(clipped.last, offset_));
    } else {
      run.last = std::min(run.last, clipped.first - std::min(clipped.first, offset_));
      break;
    }
  }
  return run.first < run.last ? run : SampleRange{sample, sample};
}

bool PulseEdge::hangs_on_clipped(const SampleWeights& on_trace) const {
  const std::span<const double> weights = on_trace.weights();
  return std::any_of(trace_->clipped.begin(), trace_->clipped.end(), [&](const SampleRange& clipped) {
    for (std::size_t k = std::max(clipped.first, on_trace.first());
         k < std::min(clipped.last, on_trace.first() + weights.size()); ++k)
      if (weights[k - on_trace.first()] != 0) return true;
    return false;
  });
}

std::optional<std::size_t> PulseEdge::bracket(double level_v) const {
  if (!half_) return std::nullopt;
  const std::span<const double> v = volts();
  std::size_t before = *half_;
  while (before > start_ && v[before] >= level_v) --before;
  while (before + 1 < peak_ && v[before + 1] < level_v) ++before;
  if (!(v[before] < level_v && v[before + 1] >= level_v)) return std::nullopt;
  return before;
}

std::optional<EdgeCrossing> PulseEdge::crossing(double level_v) const {
  const auto before = bracket(level_v);
  if (!before) return std::nullopt;
  const SampleRange run = unclipped_around(*before);
  if (*before < run.first || *before + 1 >= run.last) return std::nullopt;
  auto crossing = cross(volts().subspan(run.first, run.size()), *before - run.first, level_v, curve_,
                        noise_.deviation_v(), transition_samples_);
  if (!crossing) return crossing;
  crossing->position += static_cast<double>(run.first);
  crossing->value = crossing->value.shifted(run.first);
  if (noise_.deviation_v() > 0)
    crossing->room_over_noise = std::min(level_v, height_v_ - level_v) / noise_.deviation_v();
  return crossing;
}

double PulseEdge::position_of(double level_v, Interpolation interpolation) const {
  const auto before = bracket(level_v);
  if (!before) return not_known;
  return crossing_position(volts(), *before, level_v, interpolation, noise_.deviation_v())
      .value_or(not_known);
}

// From 10 % to 90 % of the height; NaN if the edge does not reach it.
double PulseEdge::edge_samples() const {
  return position_of(0.9 * height_v_, curve_.interpolation) -
         position_of(0.1 * height_v_, curve_.interpolation);
}

Stamp PulseEdge::untimed() const {
  Stamp stamp;
  stamp.polarity = static_cast<std::int16_t>(pulse_->polarity);
  stamp.height_v = height_v_;
  stamp.charge_c = pulse_->charge_c;
  stamp.noise_v = noise_.deviation_v();
  stamp.baseline_v = trace_->baseline_v.value;
  if (!hangs_on_clipped(height_on_trace_)) stamp.transition_duration_s = edge_samples_ * trace_->interval_s;
  stamp.flags = pulse_->flags | trace_->flags | Flag::not_timed;
  if (stamp.transition_duration_s < fewest_edge_samples * trace_->interval_s)
    stamp.flags |= Flag::undersampled;
  return stamp;
}

Stamp PulseEdge::timed(const EdgeCrossing& crossing, const SampleWeights& quantity) const {
  Stamp stamp = untimed();
  const double time_s = trace_->time_s(static_cast<double>(offset_) + crossing.position);
  const double slew_v_per_s = crossing.slope_per_sample / trace_->interval_s;
  const double noise_s = std::sqrt(noise_.variance_v2(quantity)) / slew_v_per_s;
  if (hangs_on_clipped(quantity)) return stamp;
  // Of a clipped edge, what is seen stands for the whole: it is shorter, so that the error is not made less.
  const double curve_s =
      edge_samples_ > 0 ? curve_.relative_error(edge_samples_) * edge_samples_ * trace_->interval_s : 0;
  const double uncertainty_s = std::hypot(noise_s, curve_s);
  if (!(slew_v_per_s > 0) || !std::isfinite(time_s) || !std::isfinite(uncertainty_s)) return stamp;
  if (crossing.room_over_noise < least_room_over_noise) stamp.flags |= Flag::low_signal;
  stamp.time_s = time_s;
  stamp.uncertainty_s = uncertainty_s;
  stamp.slew_v_per_s = slew_v_per_s;
  stamp.flags = FlagSet::from_bits(stamp.flags.bits() & ~FlagSet(Flag::not_timed).bits());
  return stamp;
}

}  // namespace firstedge
