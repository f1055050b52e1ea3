#include "firstedge/batch/channel_timer.hpp"

#include <algorithm>
#include <string>

namespace firstedge {

namespace {

// Stands in for a method that lacks what it needs: every pulse is kept, counted and flagged.
TimingMethod method_without(const Settings& settings, const std::string& lacking) {
  return {.name = settings.text("method", ""),
          .settings = lacking,
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
  for (std::size_t m = 0; m < channel_.timing.size(); ++m) methods.push_back(method(m, noise));
  const Ready made{Conditioner(channel_.conditioning, interval_s),
                   PulseSearch(noise, channel_.load_ohm, channel_.search),
                   std::make_shared<const std::vector<TimingMethod>>(std::move(methods))};
  return by_interval_.emplace(interval_s, made).first->second;
}

TimingMethod ChannelTimer::method(std::size_t number, const NoiseModel& noise) const {
  const Settings& settings = channel_.timing[number];
  if (!channel_.pulse_template && needs_template(settings)) return method_without(settings, "no template");
  const auto walk = number < channel_.walks.size() ? channel_.walks[number] : nullptr;
  if (!walk && needs_walk(settings)) return method_without(settings, "no walk correction");
  return make_timing_method(
      settings,
      {.noise = noise, .pulse_template = channel_.pulse_template, .family = channel_.family, .walk = walk});
}

std::vector<Stamp> ChannelTimer::stamps(const Trace& trace, std::uint64_t record) const {
  if (trace.empty()) return {};
  const Ready& at = ready(trace.interval_s);
  return stamps_of(at.conditioner(trace), at, record);
}

std::vector<std::vector<Stamp>> ChannelTimer::stamps(std::span<const Trace> traces,
                                                     std::span<const std::uint64_t> records) const {
  std::vector<std::vector<Stamp>> stamps_of_traces;
  const bool are_usual = std::all_of(traces.begin(), traces.end(), [&](const Trace& trace) {
    return trace.empty() || trace.interval_s == channel_.interval_s;
  });
  if (!are_usual || traces.size() < 2) {
    for (std::size_t k = 0; k < traces.size(); ++k) stamps_of_traces.push_back(stamps(traces[k], records[k]));
    return stamps_of_traces;
  }
  const Ready& at = ready(channel_.interval_s);
  const std::vector<ConditionedTrace> conditioned = at.conditioner(traces);
  for (std::size_t k = 0; k < traces.size(); ++k) {
    stamps_of_traces.push_back(traces[k].empty() ? std::vector<Stamp>{}
                                                 : stamps_of(conditioned[k], at, records[k]));
  }
  return stamps_of_traces;
}

std::vector<Stamp> ChannelTimer::stamps_of(const ConditionedTrace& conditioned, const Ready& at,
                                           std::uint64_t record) const {
  const std::vector<Pulse> pulses = at.search(conditioned);
  if (pulses.empty()) return {};
  const std::size_t methods = at.methods->size();
  std::vector<std::vector<Stamp>> of_methods;
  std::size_t most = 0;
  for (const TimingMethod& method : *at.methods) {
    of_methods.push_back(method.time_pulses(conditioned, pulses));
    most = std::max(most, of_methods.back().size());
  }
  std::vector<Stamp> stamps;
  stamps.reserve(most * methods);
  for (std::size_t p = 0; p < most; ++p) {
    for (std::size_t m = 0; m < methods; ++m) {
      if (p >= of_methods[m].size()) continue;
      Stamp& stamp = stamps.emplace_back(of_methods[m][p]);
      stamp.record = record;
      stamp.channel = number_;
      stamp.method = method_numbers_[m];
      stamp.pulse = static_cast<std::uint16_t>(p);
    }
  }
  return stamps;
}

}  // namespace firstedge
