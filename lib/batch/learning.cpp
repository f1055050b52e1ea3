#include "firstedge/batch/learning.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/threads.hpp"
#include "firstedge/signal/noise.hpp"
#include "firstedge/timing/methods.hpp"
#include "firstedge/timing/template_building.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>
#include <optional>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

constexpr std::size_t most_learning_bytes = std::size_t{64} << 20U;
constexpr std::size_t most_lags = 512;
constexpr std::size_t fewest_quiet_samples = 16;
constexpr double normal_quartile = 0.674489750196082;  // 75 % quantile of the normal distribution

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double median_distance_v(const ConditionedTrace& trace) {
  std::vector<double> distances(trace.volts.size());
  std::transform(trace.volts.begin(), trace.volts.end(), distances.begin(),
                 [](double v) { return std::abs(v); });
  return median(std::move(distances));
}

// A first guess of the noise that pulses do not spoil: the median distance from the baseline.
double robust_noise_v(const std::vector<ConditionedTrace>& traces) {
  std::vector<double> of_traces = made_by_all_threads(
      traces.size(), [&](std::size_t i) { return median_distance_v(traces[i]) / normal_quartile; });
  double step_v = 0;
  for (const ConditionedTrace& trace : traces) step_v = std::max(step_v, trace.step_v);
  // A quiet baseline may stand on one count: the step's own spread is the least there is.
  return std::max(median(std::move(of_traces)), step_v / std::sqrt(12.0));
}

// The longest stretch without a pulse, away from the tails of the pulses before it where there is a choice.
std::optional<SampleRange> quiet_stretch(const ConditionedTrace& trace, const std::vector<Pulse>& pulses) {
  const std::size_t size = trace.volts.size();
  if (pulses.empty()) return SampleRange{0, size};
  const std::size_t margin = std::max<std::size_t>(2, pulses.front().region.size() / 4);
  const std::size_t start = pulses.front().region.first;
  const SampleRange before{0, start > margin ? start - margin : 0};
  if (before.size() >= fewest_quiet_samples) return before;
  const std::size_t end = std::min(size, pulses.back().region.last + 4 * margin);
  const SampleRange after{end, size};
  if (after.size() >= fewest_quiet_samples) return after;
  return std::nullopt;
}

NoiseModel learn_noise(const std::vector<ConditionedTrace>& traces, const SearchOptions& search,
                       const std::vector<double>& lines_taken_out_hz, double load_ohm) {
  const double interval_s = traces.front().interval_s;
  NoiseModel guess = white_noise(robust_noise_v(traces), interval_s);
  SearchOptions wide = search;
  wide.threshold_v.reset();
  wide.threshold_over_noise = std::min(5.0, search.threshold_over_noise);
  wide.polarity = SearchOptions::Polarity::either;
  wide.window_s.reset();
  const auto quiet = made_by_all_threads(traces.size(), [&](std::size_t i) -> std::optional<SampleRange> {
    if (traces[i].interval_s != interval_s) return std::nullopt;
    return quiet_stretch(traces[i], find_pulses(traces[i], guess, load_ohm, wide));
  });
  std::size_t longest = 0;
  for (const auto& stretch : quiet) longest = std::max(longest, stretch ? stretch->size() : 0);
  NoiseAccumulator sums(interval_s, std::clamp<std::size_t>(3 * longest / 4, 1, most_lags));
  for (std::size_t i = 0; i < traces.size(); ++i) {
    if (quiet[i]) sums.add(std::span(traces[i].volts).subspan(quiet[i]->first, quiet[i]->size()));
  }
  if (sums.samples() == 0) return guess;
  return with_lines_taken_out(sums.model(), lines_taken_out_hz, traces.front().baseline_window.size(),
                              most_lags);
}

std::vector<PulseInTrace> pulses_of(const LearntChannel& channel,
                                    const std::vector<ConditionedTrace>& traces) {
  const auto found = made_by_all_threads(traces.size(), [&](std::size_t i) -> std::vector<Pulse> {
    if (traces[i].interval_s != channel.interval_s) return {};
    return find_pulses(traces[i], channel.noise, channel.load_ohm, channel.search);
  });
  std::vector<PulseInTrace> pulses;
  for (std::size_t i = 0; i < traces.size(); ++i) {
    for (const Pulse& pulse : found[i]) pulses.push_back({&traces[i], pulse});
  }
  return pulses;
}

void learn_template(LearntChannel& channel, const std::vector<PulseInTrace>& pulses,
                    const std::vector<PulseTemplate>& given) {
  for (const PulseTemplate& shape : given) {
    if (shape.channel != channel.name) continue;
    channel.pulse_template = std::make_shared<PulseTemplate>(shape);
    channel.template_remark = "given";
    return;
  }
  try {
    auto shape = build_template(pulses, channel.noise);
    shape.channel = channel.name;
    channel.pulses_learnt_from = shape.pulses_used;
    channel.pulse_template = std::make_shared<PulseTemplate>(std::move(shape));
    channel.template_remark = fmt::format("built from {} pulses", channel.pulses_learnt_from);
  } catch (const Error& error) {
    channel.template_remark = fmt::format("none: {}", error.problem());
  }
}

void learn_family(LearntChannel& channel, const std::vector<PulseInTrace>& pulses) {
  const bool wanted = std::any_of(channel.timing.begin(), channel.timing.end(), needs_family);
  if (!wanted || !channel.pulse_template) return;
  channel.family =
      std::make_shared<const ShapeFamily>(build_shape_family(*channel.pulse_template, pulses, channel.noise));
}

void learn_walks(LearntChannel& channel, const std::vector<PulseInTrace>& pulses) {
  channel.walks.resize(channel.timing.size());
  channel.walk_remarks.resize(channel.timing.size());
  if (std::none_of(channel.timing.begin(), channel.timing.end(), needs_walk)) return;
  const ChannelKnowledge knowledge{.noise = channel.noise, .pulse_template = channel.pulse_template};
  const std::vector<Stamp> reference = walk_reference(knowledge, pulses);
  for (std::size_t m = 0; m < channel.timing.size(); ++m) {
    if (!needs_walk(channel.timing[m])) continue;
    try {
      const auto walk =
          std::make_shared<const WalkCorrection>(learn_walk(channel.timing[m], knowledge, pulses, reference));
      channel.walks[m] = walk;
      channel.walk_remarks[m] = fmt::format("learnt from {} pulses", walk->walk.points_used);
    } catch (const Error& error) {
      channel.walk_remarks[m] = fmt::format("none: {}", error.problem());
    }
  }
}

// One dead channel must not stop the others; but when no channel at all could be learnt, the run cannot be
// what was meant.
void refuse_if_no_template_at_all(const std::vector<LearntChannel>& channels) {
  const bool wanted = std::any_of(channels.begin(), channels.end(), [](const LearntChannel& channel) {
    return std::any_of(channel.timing.begin(), channel.timing.end(), needs_template);
  });
  const bool any =
      std::any_of(channels.begin(), channels.end(), [](const LearntChannel& c) { return c.pulse_template; });
  if (wanted && !any) {
    throw Error(fmt::format("channel '{}'", channels.front().name),
                fmt::format("the template that a method needs could not be built ({})",
                            channels.front().template_remark),
                "give templates, learn from more records, or leave out the methods that need one");
  }
}

void refuse_if_no_walk_at_all(const std::vector<LearntChannel>& channels) {
  std::string failure;
  for (const LearntChannel& channel : channels) {
    for (std::size_t m = 0; m < channel.timing.size(); ++m) {
      if (channel.walks[m]) return;
      if (!channel.walk_remarks[m].empty() && failure.empty())
        failure = fmt::format("channel '{}': {}", channel.name, channel.walk_remarks[m]);
    }
  }
  if (failure.empty()) return;
  throw Error("leading_edge", fmt::format("its walk correction could not be learnt ({})", failure),
              "learn from more records with pulses of many heights, or set walk to \"none\"");
}

void check_names(const Setup& setup, const std::vector<std::string>& channels) {
  for (const ChannelSetup& channel : setup.channels) {
    if (std::find(channels.begin(), channels.end(), channel.name) == channels.end()) {
      throw Error(fmt::format("setup, channel '{}'", channel.name), "is not in the run",
                  fmt::format("the run has {}", fmt::join(channels, ", ")));
    }
  }
}

LearntChannel prepared(const ChannelSetup& setup) {
  LearntChannel channel;
  channel.name = setup.name;
  channel.sensor = setup.sensor;
  channel.load_ohm = setup.load_ohm;
  channel.conditioning = conditioning_options(setup.baseline, setup.filters);
  channel.search = search_options(setup.search);
  channel.timing = setup.timing;
  channel.given_noise_v = setup.noise.quantity("rms", "V");
  setup.noise.finish();
  return channel;
}

// The first records, conditioned: [channel][trace], missing ones left out.
struct FirstTraces {
  std::uint64_t records = 0;
  std::vector<std::vector<ConditionedTrace>> of_channel;
};

FirstTraces first_traces(RecordReader& reader, const Setup& setup,
                         const std::vector<LearntChannel>& channels) {
  FirstTraces first;
  first.of_channel.resize(channels.size());
  std::vector<std::optional<Conditioner>> conditioners(channels.size());
  std::size_t bytes = 0;
  constexpr std::size_t block_size = 64;
  while (first.records < setup.learning_records && bytes < most_learning_bytes) {
    const std::size_t wanted = std::min<std::size_t>(block_size, setup.learning_records - first.records);
    const RecordBlock block = reader.next_block(wanted);
    if (block.records.empty()) break;
    for (std::size_t c = 0; c < channels.size(); ++c) {
      std::vector<const Trace*> traces;
      for (const Record& record : block.records) {
        if (!record.traces[c].empty()) traces.push_back(&record.traces[c]);
        bytes += record.traces[c].size() * sizeof(double);
      }
      if (traces.empty()) continue;
      if (!conditioners[c]) conditioners[c].emplace(channels[c].conditioning, traces.front()->interval_s);
      auto conditioned =
          made_by_all_threads(traces.size(), [&](std::size_t i) { return (*conditioners[c])(*traces[i]); });
      std::move(conditioned.begin(), conditioned.end(), std::back_inserter(first.of_channel[c]));
    }
    first.records += block.records.size();
  }
  return first;
}

void learn(LearntChannel& channel, const std::vector<ConditionedTrace>& traces,
           const std::vector<PulseTemplate>& given) {
  channel.interval_s = traces.front().interval_s;
  channel.records_learnt_from = traces.size();
  channel.noise =
      channel.given_noise_v
          ? white_noise(*channel.given_noise_v, channel.interval_s)
          : learn_noise(traces, channel.search, channel.conditioning.baseline.lines_hz, channel.load_ohm);
  const std::vector<PulseInTrace> pulses = pulses_of(channel, traces);
  learn_template(channel, pulses, given);
  learn_family(channel, pulses);
  learn_walks(channel, pulses);
}

std::vector<LearntChannel> learnt_from(RecordReader& reader, const Setup& setup,
                                       const std::vector<PulseTemplate>& given) {
  const std::vector<std::string>& names = reader.description().channels;
  check_names(setup, names);
  std::vector<LearntChannel> channels;
  for (const std::string& name : names) channels.push_back(prepared(setup.channel(name)));
  const FirstTraces first = first_traces(reader, setup, channels);
  for (std::size_t c = 0; c < channels.size(); ++c) {
    if (!first.of_channel[c].empty()) continue;
    throw Error(fmt::format("channel '{}'", channels[c].name),
                fmt::format("has no trace in the first {} records", first.records),
                "raise learning_records, or check that the files belong to one run");
  }
  by_all_threads(channels.size(), [&](std::size_t c) { learn(channels[c], first.of_channel[c], given); });
  return channels;
}

}  // namespace

Setup without_methods(const Setup& setup) {
  Setup without = setup;
  without.every_channel.timing.clear();
  for (ChannelSetup& channel : without.channels) channel.timing.clear();
  return without;
}

NoiseModel at_interval(const NoiseModel& noise, double interval_s) {
  if (interval_s == noise.interval_s || noise.autocovariance_v2.size() < 2) {
    NoiseModel same = noise;
    same.interval_s = interval_s;
    return same;
  }
  NoiseModel other{.interval_s = interval_s, .autocovariance_v2 = {}, .samples_used = noise.samples_used};
  const double ratio = interval_s / noise.interval_s;
  for (double lag = 0; lag < static_cast<double>(noise.autocovariance_v2.size()); lag += ratio) {
    const auto below = static_cast<std::size_t>(lag);
    const double share = lag - static_cast<double>(below);
    other.autocovariance_v2.push_back((1 - share) * noise.covariance_v2(below) +
                                      share * noise.covariance_v2(below + 1));
  }
  return other;
}

std::vector<LearntChannel> learn_channels(RecordReader& reader, const Setup& setup,
                                          const std::vector<PulseTemplate>& given) {
  std::vector<LearntChannel> channels = learnt_from(reader, setup, given);
  refuse_if_no_template_at_all(channels);
  refuse_if_no_walk_at_all(channels);
  return channels;
}

std::vector<LearntChannel> learn_channels_as_far_as_possible(RecordReader& reader, const Setup& setup) {
  return learnt_from(reader, setup, {});
}

}  // namespace firstedge
