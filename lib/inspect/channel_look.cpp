#include "firstedge/inspect/channel_look.hpp"

#include "firstedge/signal/pulse_measures.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <span>

namespace firstedge {
namespace {

constexpr std::size_t most_measured = 20000;  // baselines, heights and transition durations kept
constexpr std::size_t most_kinds = 1000;      // different intervals or lengths told apart

}  // namespace

ChannelLook::ChannelLook(const LearntChannel& channel)
    : channel_(channel), conditioner_(channel.conditioning, channel.interval_s), noise_(channel.interval_s) {}

void ChannelLook::add(const Trace& trace) {
  const ConditionedTrace conditioned = conditioner_(trace);
  const std::vector<double> recorded = volts(trace);
  const auto [low, high] = std::minmax_element(recorded.begin(), recorded.end());
  lowest_v_ = traces_ == 0 ? *low : std::min(lowest_v_, *low);
  highest_v_ = traces_ == 0 ? *high : std::max(highest_v_, *high);
  range_v_ = std::abs(trace.volts_per_count) * (trace.highest_count - trace.lowest_count);
  ++traces_;
  seconds_ += static_cast<double>(trace.size()) * trace.interval_s;
  clipped_traces_ += conditioned.clipped.empty() ? 0 : 1;
  if (intervals_s_.size() < most_kinds) intervals_s_.insert(trace.interval_s);
  if (lengths_.size() < most_kinds) lengths_.insert(trace.size());
  if (baselines_v_.size() < most_measured) baselines_v_.push_back(conditioned.baseline_v.value);

  const std::vector<Pulse> pulses = find_pulses(conditioned, at_interval(channel_.noise, trace.interval_s),
                                                channel_.load_ohm, channel_.search);
  for (const Pulse& pulse : pulses) add_pulse(conditioned, pulse);
  last_quiet_v_.clear();
  if (trace.interval_s != channel_.interval_s) return;
  const std::span samples(conditioned.volts);
  const std::span quiet = pulses.empty() ? samples : samples.first(pulses.front().region.first);
  last_quiet_v_.assign(quiet.begin(), quiet.end());
  noise_.add(quiet);
}

void ChannelLook::add_pulse(const ConditionedTrace& trace, const Pulse& pulse) {
  (pulse.polarity > 0 ? positive_ : negative_) += 1;
  if (heights_v_.size() >= most_measured || pulse.flags.has(Flag::clipped)) return;
  heights_v_.push_back(pulse.height_v);
  // As many samples of baseline before the edge give the low state its level.
  const std::size_t before = std::min(pulse.region.first, pulse.region.size());
  const std::span stretch =
      std::span(trace.volts).subspan(pulse.region.first - before, pulse.region.size() + before);
  const double duration_s = measure_pulse(stretch, trace.interval_s).transition_duration_s;
  if (std::isfinite(duration_s)) transitions_s_.push_back(duration_s);
}

Estimate ChannelLook::height_v() const {
  return median_estimate(heights_v_);
}

Estimate ChannelLook::noise_v() const {
  const NoiseModel& noise = channel_.noise;
  const double rms_v = noise.rms_v();
  if (noise.samples_used == 0 || !(rms_v > 0)) return {rms_v, -1};
  double squares = 1;
  for (std::size_t lag = 1; lag < noise.autocovariance_v2.size(); ++lag)
    squares += 2 * std::pow(noise.covariance_v2(lag) / noise.covariance_v2(0), 2);
  return {rms_v, rms_v * std::sqrt(squares / (2 * static_cast<double>(noise.samples_used)))};
}

double ChannelLook::share_positive() const {
  return static_cast<double>(positive_) / static_cast<double>(pulses());
}

double ChannelLook::pulse_rate_hz() const {
  return static_cast<double>(pulses()) / seconds_;
}

double ChannelLook::clipped_trace_share() const {
  return static_cast<double>(clipped_traces_) / static_cast<double>(traces_);
}

double ChannelLook::range_used() const {
  return std::isfinite(range_v_) && range_v_ > 0 ? (highest_v_ - lowest_v_) / range_v_ : std::nan("");
}

}  // namespace firstedge
