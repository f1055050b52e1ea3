#include "firstedge/browse/cut_traces.hpp"

#include "firstedge/batch/learning.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/stamp_table.hpp"
#include "firstedge/timing/template_shape.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <optional>
#include <set>

#include <fmt/format.h>

namespace firstedge {
namespace {

// One channel of the run, ready to show its traces.
struct ShownChannel {
  Conditioner conditioner;
  std::optional<TemplateShape> shape;
  std::size_t place = 0;  // among the traces of a record
};

// A trace as it was timed, its level put back.
struct Levelled {
  double first_sample_s = 0, interval_s = 0;
  std::vector<double> volts, level_v;
  double trace_level_v = 0;

  double position(double time_s) const { return (time_s - first_sample_s) / interval_s; }
};

Levelled levelled(const ConditionedTrace& trace) {
  Levelled shown{.first_sample_s = trace.first_sample_s,
                 .interval_s = trace.interval_s,
                 .volts = trace.volts,
                 .level_v = {},
                 .trace_level_v = trace.baseline_v.value};
  for (std::size_t i = 0; i < trace.volts.size(); ++i) {
    const double from_middle_s = trace.time_s(static_cast<double>(i)) - trace.baseline_middle_s;
    shown.level_v.push_back(trace.baseline_v.value + trace.baseline_slope_v_per_s * from_middle_s);
    shown.volts[i] += shown.level_v[i];
  }
  return shown;
}

// Where the shown pulse stands: at its time; without one, at any time it has; without any, at its extreme.
double middle_of(const Levelled& trace, const std::vector<Stamp>& stamps, std::size_t method) {
  double time_s = not_known;
  for (const Stamp& stamp : stamps) {
    if (std::isfinite(stamp.time_s) && (stamp.method == method || std::isnan(time_s))) time_s = stamp.time_s;
  }
  if (std::isfinite(time_s)) return trace.position(time_s);
  std::size_t extreme = 0;
  const int polarity = stamps.empty() ? 1 : stamps.front().polarity;
  for (std::size_t i = 0; i < trace.volts.size(); ++i) {
    if (polarity * (trace.volts[i] - trace.volts[extreme]) > 0) extreme = i;
  }
  return static_cast<double>(extreme);
}

SampleRange stretch_around(double middle, std::size_t size, std::size_t most) {
  const std::size_t length = std::min(size, most);
  const double wanted = middle - static_cast<double>(length) / 3;
  const double first = std::clamp(wanted, 0.0, static_cast<double>(size - length));
  return {static_cast<std::size_t>(first), static_cast<std::size_t>(first) + length};
}

double level_at(const Levelled& trace, double time_s) {
  const double at = trace.position(time_s);
  if (!(at >= 0 && at <= static_cast<double>(trace.volts.size() - 1))) return not_known;
  const auto before = std::min(static_cast<std::size_t>(at), trace.volts.size() - 1);
  const std::size_t after = std::min(before + 1, trace.volts.size() - 1);
  return trace.volts[before] +
         (at - static_cast<double>(before)) * (trace.volts[after] - trace.volts[before]);
}

std::vector<double> fit_of(const Levelled& trace, const SampleRange& stretch, const TemplateShape& shape,
                           const std::vector<Stamp>& fitted, double baseline_v) {
  std::vector<double> fit;
  for (std::size_t i = stretch.first; i < stretch.last; ++i) {
    const double time_s = trace.first_sample_s + static_cast<double>(i) * trace.interval_s;
    double volts = trace.level_v[i] + baseline_v - trace.trace_level_v;
    for (const Stamp& one : fitted)
      volts += one.polarity * one.height_v / shape.peak() * shape.value(time_s - one.time_s);
    fit.push_back(volts);
  }
  return fit;
}

void add_fit(BrowsedTrace& shown, const Levelled& trace, const SampleRange& stretch,
             const TemplateShape& shape, const std::vector<Stamp>& of_trace, std::size_t method) {
  std::vector<Stamp> fitted;
  std::optional<double> baseline_v;
  for (const Stamp& stamp : of_trace) {
    if (stamp.method != method || !std::isfinite(stamp.time_s) || !std::isfinite(stamp.height_v)) continue;
    fitted.push_back(stamp);
    if (stamp.pulse == shown.pulse && std::isfinite(stamp.baseline_v)) baseline_v = stamp.baseline_v;
  }
  if (baseline_v) shown.fit_volts = fit_of(trace, stretch, shape, fitted, *baseline_v);
}

void add_recorded(BrowsedTrace& shown, const Trace& recorded) {
  const double from = (shown.first_sample_s - recorded.first_sample_s) / recorded.interval_s;
  const std::size_t size = std::min(shown.volts.size(), recorded.size());
  const double first = std::clamp(std::round(from), 0.0, static_cast<double>(recorded.size() - size));
  const std::vector<double> all = volts(recorded);
  const auto begin = all.begin() + static_cast<std::ptrdiff_t>(first);
  shown.recorded_first_sample_s = recorded.time_s(first);
  shown.recorded_volts.assign(begin, begin + static_cast<std::ptrdiff_t>(size));
}

BrowsedTrace cut(const PulseName& name, const Trace& recorded, const ShownChannel& channel,
                 const CutRequest& request) {
  const std::vector<Stamp>& of_trace = request.stamps.at({name.record, name.channel});
  BrowsedTrace shown{
      .record = name.record, .channel = name.channel, .pulse = name.pulse, .interval_s = recorded.interval_s};
  std::set<double> others;
  for (const Stamp& stamp : of_trace) {
    if (stamp.pulse == name.pulse) shown.stamps.push_back(stamp);
    if (stamp.pulse != name.pulse && stamp.method == request.method && std::isfinite(stamp.time_s))
      others.insert(stamp.time_s);
  }
  const Levelled trace = levelled(channel.conditioner(recorded));
  const SampleRange stretch = stretch_around(middle_of(trace, shown.stamps, request.method),
                                             trace.volts.size(), request.most_samples);
  const auto begin = trace.volts.begin();
  shown.first_sample_s = trace.first_sample_s + static_cast<double>(stretch.first) * trace.interval_s;
  shown.volts.assign(begin + static_cast<std::ptrdiff_t>(stretch.first),
                     begin + static_cast<std::ptrdiff_t>(stretch.last));
  for (const Stamp& stamp : shown.stamps) shown.level_v.push_back(level_at(trace, stamp.time_s));
  const double last_s = shown.first_sample_s + static_cast<double>(stretch.size()) * trace.interval_s;
  for (const double time_s : others) {
    if (time_s >= shown.first_sample_s && time_s <= last_s) shown.other_pulses_s.push_back(time_s);
  }
  if (request.draws_fit && channel.shape)
    add_fit(shown, trace, stretch, *channel.shape, of_trace, request.fit_method);
  if (!channel.conditioner.filters().empty()) add_recorded(shown, recorded);
  return shown;
}

std::vector<ShownChannel> shown_channels(const std::vector<LearntChannel>& learnt,
                                         const std::vector<std::string>& names, const std::string& place) {
  std::vector<ShownChannel> shown;
  for (const std::string& name : names) {
    const auto found = std::find_if(learnt.begin(), learnt.end(),
                                    [&](const LearntChannel& channel) { return channel.name == name; });
    if (found == learnt.end()) {
      throw Error(place, fmt::format("has no channel '{}', which is in the stamp table", name),
                  "give the files that the table was made from");
    }
    ShownChannel& channel =
        shown.emplace_back(ShownChannel{.conditioner = Conditioner(found->conditioning, found->interval_s),
                                        .shape = std::nullopt,
                                        .place = static_cast<std::size_t>(found - learnt.begin())});
    if (found->pulse_template) channel.shape.emplace(*found->pulse_template);
  }
  return shown;
}

}  // namespace

StampsOfTraces stamps_of_traces(const StampTableAt& table, const std::vector<PulseName>& pulses) {
  StampsOfTraces stamps;
  for (const PulseName& pulse : pulses) stamps[{pulse.record, pulse.channel}];
  constexpr std::size_t block_size = 65536;
  StampTableReader reader(table);
  for (auto block = reader.next_block(block_size); !block.empty(); block = reader.next_block(block_size)) {
    for (const Stamp& stamp : block) {
      const auto found = stamps.find({stamp.record, stamp.channel});
      if (found != stamps.end()) found->second.push_back(stamp);
    }
  }
  return stamps;
}

CutTraces cut_traces(const std::vector<std::filesystem::path>& files, const Setup& setup,
                     const std::vector<PulseTemplate>& templates, const CutRequest& request) {
  const std::vector<LearntChannel> learnt =
      learn_channels(*open_records(files, setup.input), setup, templates);
  const std::vector<ShownChannel> channels = shown_channels(learnt, request.channels, files.front().string());

  constexpr std::size_t records_in_block = 128;
  const std::unique_ptr<RecordReader> reader = open_records(files, setup.input);
  CutTraces result;
  auto next = request.pulses.begin();
  while (next != request.pulses.end()) {
    const RecordBlock block = reader->next_block(records_in_block);
    if (block.records.empty()) break;
    for (const Record& record : block.records) {
      while (next != request.pulses.end() && next->record < record.index) ++next;
      for (; next != request.pulses.end() && next->record == record.index; ++next) {
        const ShownChannel& channel = channels[next->channel];
        const Trace& trace = record.traces[channel.place];
        if (!trace.empty()) result.traces.push_back(cut(*next, trace, channel, request));
      }
    }
  }
  result.account = reader->account();
  return result;
}

}  // namespace firstedge
