#include "firstedge/io/binary_scale.hpp"

#include <cmath>
#include <set>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

// The values under a name: none, or one a channel (a single one is repeated).
std::vector<double> one_a_channel(const Settings& settings, const std::string& name, std::string_view unit,
                                  std::size_t channels) {
  std::vector<double> values = settings.quantities(name, unit);
  if (settings.has(name) && values.size() != 1 && values.size() != channels) {
    settings.refuse(name, fmt::format("has {} values for {} channels", values.size(), channels),
                    "give one value, or one a channel");
  }
  for (const double value : values) {
    if (!std::isfinite(value)) settings.refuse(name, "is too large for a number", "give a finite value");
  }
  if (values.size() == 1) values.resize(channels, values.front());
  return values;
}

}  // namespace

std::vector<ChannelScale> channel_scales(const Settings& settings, std::size_t channels) {
  const auto interval = one_a_channel(settings, "interval", "s", channels);
  const auto first_sample = one_a_channel(settings, "first_sample", "s", channels);
  const auto volts_per_count = one_a_channel(settings, "volts_per_count", "V", channels);
  const auto offset = one_a_channel(settings, "offset", "V", channels);
  const auto lowest = one_a_channel(settings, "lowest_count", "", channels);
  const auto highest = one_a_channel(settings, "highest_count", "", channels);
  if (interval.empty()) {
    settings.refuse("interval", "is missing, and the file does not tell the time between samples",
                    "add it, like \"interval\": \"0.2 ns\"");
  }
  std::vector<ChannelScale> scales(channels);
  for (std::size_t i = 0; i < channels; ++i) {
    ChannelScale& scale = scales[i];
    scale.interval_s = interval[i];
    if (!first_sample.empty()) scale.first_sample_s = first_sample[i];
    if (!volts_per_count.empty()) scale.volts_per_count = volts_per_count[i];
    if (!offset.empty()) scale.offset_v = offset[i];
    if (!lowest.empty()) scale.lowest_count = lowest[i];
    if (!highest.empty()) scale.highest_count = highest[i];
    if (!(scale.interval_s > 0)) settings.refuse("interval", "is not above 0", "write it like \"0.2 ns\"");
    if (scale.volts_per_count == 0)
      settings.refuse("volts_per_count", "is 0", "give what one count is worth");
    if (scale.lowest_count && scale.highest_count && !(*scale.lowest_count < *scale.highest_count)) {
      settings.refuse("lowest_count", "is not below highest_count", "give the digitizer's limits in counts");
    }
  }
  return scales;
}

std::vector<std::string> scale_guesses(const Settings& settings, SampleType type) {
  std::vector<std::string> guesses;
  if (!settings.has("first_sample")) {
    guesses.emplace_back(
        "times count from the first sample; \"first_sample\" tells its time from the trigger");
  }
  if (!settings.has("volts_per_count")) {
    guesses.emplace_back(is_floating(type)
                             ? "samples are taken as volts; \"volts_per_count\" tells another scale"
                             : "one count is taken as 1 V; \"volts_per_count\" tells the scale");
  }
  if (!is_floating(type) && !(settings.has("lowest_count") && settings.has("highest_count"))) {
    guesses.push_back(
        fmt::format("the digitizer's limits are taken as the ends of {}; \"lowest_count\" and "
                    "\"highest_count\" tell them",
                    to_text(type)));
  }
  return guesses;
}

std::vector<std::string> channel_names(const Settings& settings, std::size_t count) {
  std::vector<std::string> names = settings.texts("channels");
  if (!settings.has("channels")) {
    for (std::size_t i = 0; i < count; ++i) names.push_back(fmt::format("channel_{}", i + 1));
  }
  if (names.empty())
    settings.refuse("channels", "is an empty list", "give one name a channel, or leave it out");
  if (names.size() != count) {
    settings.refuse("channels", fmt::format("has {} names for {} channels", names.size(), count),
                    "give one name a channel");
  }
  std::set<std::string> seen;
  for (const std::string& name : names) {
    if (name.empty()) settings.refuse("channels", "has an empty name", "give each channel a name");
    if (!seen.insert(name).second) {
      settings.refuse("channels", fmt::format("has '{}' twice", name), "give each channel its own name");
    }
  }
  return names;
}

Trace scaled_trace(const Counts& counts, const ChannelScale& scale, SampleType type) {
  Trace trace;
  trace.counts = counts;
  trace.interval_s = scale.interval_s;
  trace.first_sample_s = scale.first_sample_s;
  trace.volts_per_count = scale.volts_per_count;
  trace.offset_v = scale.offset_v;
  trace.lowest_count = scale.lowest_count.value_or(least_of(type));
  trace.highest_count = scale.highest_count.value_or(greatest_of(type));
  return trace;
}

}  // namespace firstedge
