#include "firstedge/batch/channel_timer.hpp"

namespace firstedge {

namespace {

// Stands in for a method whose template is missing: every pulse is kept, counted and flagged.
TimingMethod method_without_template(const Settings& settings) {
  return {.name = settings.text("method", ""),
          .settings = "no template",
          .time_pulses = [](const ConditionedTrace&, std::span<const Pulse> pulses) {
            std::vector<Stamp> stamps(pulses.size());
            for (std::size_t p = 0; p < pulses.size(); ++p) {
              stamps[p].polarity = static_cast<std::int16_t>(pulses[p].polarity);
              stamps[p].height_v = pulses[p].height_v;
              stamps[p].charge_c = pulses[p].charge_c;
              stamps[p].flags = pulses[p].flags | Flag::not_timed;
            }
            return stamps;
          }};
}

}  // namespace

ChannelTimer::ChannelTimer(const LearntChannel& channel, std::uint16_t number,
                           std::vector<std::uint16_t> method_numbers)
    : channel_(channel), number_(number), method_numbers_(std::move(method_numbers)) {
  ready(channel_.interval_s);  // so that a wrong Setup is refused before the run begins
}

const ChannelTimer::Ready& ChannelTimer::ready(double interval_s) const {
  const std::scoped_lock lock(guard_);
  const auto found = by_interval_.find(interval_s);
  if (found != by_interval_.end()) return found->second;
  const NoiseModel noise = at_interval(channel_.noise, interval_s);
  std::vector<TimingMethod> methods;
  for (const Settings& settings : channel_.timing) {
    const bool can_be_made = channel_.pulse_template || !needs_template(settings);
    const ChannelKnowledge knowledge{.noise = noise, .pulse_template = channel_.pulse_template};
    methods.push_back(can_be_made ? make_timing_method(settings, knowledge)
                                  : method_without_template(settings));
  }
  const Ready made{Conditioner(channel_.conditioning, interval_s), noise,
                   std::make_shared<const std::vector<TimingMethod>>(std::move(methods))};
  return by_interval_.emplace(interval_s, made).first->second;
}

std::vector<Stamp> ChannelTimer::stamps(const Trace& trace, std::uint64_t record) const {
  if (trace.empty()) return {};
  const Ready& at = ready(trace.interval_s);
  const ConditionedTrace conditioned = at.conditioner(trace);
  const std::vector<Pulse> pulses = find_pulses(conditioned, at.noise, channel_.load_ohm, channel_.search);
  if (pulses.empty()) return {};
  const std::size_t methods = at.methods->size();
  std::vector<Stamp> stamps(pulses.size() * methods);
  for (std::size_t m = 0; m < methods; ++m) {
    const std::vector<Stamp> of_method = (*at.methods)[m].time_pulses(conditioned, pulses);
    for (std::size_t p = 0; p < of_method.size(); ++p) {
      Stamp& stamp = stamps[p * methods + m];
      stamp = of_method[p];
      stamp.record = record;
      stamp.channel = number_;
      stamp.method = method_numbers_[m];
      stamp.pulse = static_cast<std::uint16_t>(p);
    }
  }
  return stamps;
}

}  // namespace firstedge
