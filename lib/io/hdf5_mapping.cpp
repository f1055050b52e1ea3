#include "firstedge/io/hdf5_mapping.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/units.hpp"

#include <array>
#include <cmath>
#include <set>
#include <string_view>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

using Value = Settings::Value;

struct ScaleWord {
  const char* name;
  std::string_view unit;
};

constexpr std::array scale_words{
    ScaleWord{scale_names::interval, "s"},        ScaleWord{scale_names::sample_rate, "Hz"},
    ScaleWord{scale_names::first_sample, "s"},    ScaleWord{scale_names::horizontal_offset, "s"},
    ScaleWord{scale_names::volts_per_count, "V"}, ScaleWord{scale_names::offset, "V"},
    ScaleWord{scale_names::lowest_count, ""},     ScaleWord{scale_names::highest_count, ""},
    ScaleWord{scale_names::valid_samples, ""}};

bool is_place(const std::string& text) {
  return text.starts_with('/') || text.starts_with('@');
}

// "/run@dt" -> path and attribute.
Hdf5Number number_at(const std::string& place) {
  Hdf5Number number;
  const std::size_t at = place.rfind('@');
  number.path = place.substr(0, at);
  if (at != std::string::npos) number.attribute = place.substr(at + 1);
  return number;
}

// A number as Hdf5Mapping describes it; nothing if the name is absent.
std::optional<Hdf5Number> number_of(const Settings& settings, const std::string& name,
                                    std::string_view unit) {
  const std::optional<Value> value = settings.value(name);
  if (!value) return std::nullopt;
  if (std::holds_alternative<Settings::Group>(value->is)) {
    const Settings group = settings.group(name);
    const std::string place = group.text("at", "");
    if (!is_place(place)) group.refuse("at", "is no place in the file", R"(write it like "/run@dt")");
    Hdf5Number number = number_at(place);
    number.times = group.number("times", 1);
    number.by_channel = group.choice("by", "record", {"record", "channel"}) == "channel";
    group.finish();
    return number;
  }
  if (const auto* text = std::get_if<std::string>(&value->is); text != nullptr && is_place(*text))
    return number_at(*text);
  Hdf5Number number;
  number.constants = settings.quantities(name, unit);
  if (number.constants.empty())
    settings.refuse(name, "is an empty list", "give one number, or one a channel");
  for (const double constant : number.constants) {
    if (!std::isfinite(constant)) settings.refuse(name, "is not finite", "give a finite number");
  }
  return number;
}

std::uint64_t count_of(const Settings& settings, const std::string& name, std::uint64_t fallback) {
  const double number = settings.number(name, static_cast<double>(fallback));
  if (!(number >= 0 && number < 0x1p53) || number != std::floor(number))
    settings.refuse(name, "is no whole number from 0 on", "give a count");
  return static_cast<std::uint64_t>(number);
}

std::vector<std::string> axes_of(const Settings& settings) {
  std::vector<std::string> axes = settings.texts("axes");
  const std::set<std::string> distinct(axes.begin(), axes.end());
  for (const std::string& axis : axes) {
    if (axis != "record" && axis != "channel" && axis != "sample")
      settings.refuse("axes", fmt::format("names '{}'", axis), "the axes are record, channel and sample");
  }
  if (!axes.empty() && (distinct.size() != axes.size() || !distinct.contains("sample")))
    settings.refuse("axes", "does not name each axis once, with sample among them",
                    R"(write it like ["record", "sample"])");
  return axes;
}

// What a channel's group, or the input group for every channel, says.
Hdf5Channel channel_of(const Settings& settings) {
  Hdf5Channel channel;
  channel.dataset = settings.text("dataset", "");
  if (settings.has("dataset") && !channel.dataset.starts_with('/'))
    settings.refuse("dataset", fmt::format("is '{}'", channel.dataset), "write its path, as /group/dataset");
  channel.axes = axes_of(settings);
  channel.samples_per_record = count_of(settings, "samples_per_record", 0);
  for (const ScaleWord& word : scale_words) {
    if (const auto number = number_of(settings, word.name, word.unit)) channel.scale[word.name] = *number;
  }
  if (channel.scale.contains(scale_names::interval) && channel.scale.contains(scale_names::sample_rate))
    settings.refuse(scale_names::sample_rate, "stands beside an interval", "give one of the two");
  return channel;
}

std::int64_t unit_of(const Settings& settings, const std::string& name, double fallback_s) {
  const double femtoseconds = settings.quantity(name, "s", fallback_s) * 1e15;
  // Units are written in decimal, so that a whole number of femtoseconds is within rounding of one.
  const double whole = std::round(femtoseconds);
  if (!(whole >= 1 && whole <= 1e18) || std::abs(femtoseconds - whole) > 1e-9 * whole)
    settings.refuse(name, "is no whole number of femtoseconds", R"(write it like "8 ns")");
  return static_cast<std::int64_t>(whole);
}

Hdf5Trigger trigger_of(const Settings& settings) {
  Hdf5Trigger trigger;
  const auto coarse = number_of(settings, "coarse", "");
  if (!coarse || coarse->path.empty())
    settings.refuse("coarse", "is no place in the file", R"(write it like "/time/seconds")");
  trigger.coarse = *coarse;
  trigger.coarse_unit_fs = unit_of(settings, "coarse_unit", 1);
  trigger.fine = number_of(settings, "fine", "");
  if (trigger.fine) {
    if (!settings.has("fine_unit"))
      settings.refuse("fine_unit", "is missing", R"(say what one count of "fine" is, like "8 ns")");
    trigger.fine_unit_fs = unit_of(settings, "fine_unit", 0);
  }
  if (const std::string scale = settings.text("scale", "UTC"); is_place(scale)) {
    trigger.scale = number_at(scale);
  } else {
    trigger.origin.scale = *time_scale_named(settings.choice("scale", "UTC", {"UTC", "TAI", "GPS"}));
  }
  if (settings.has("origin")) {
    trigger.origin = parse_instant(settings.text("origin", ""), trigger.origin.scale,
                                   settings.place().empty() ? "origin" : settings.place() + "/origin");
  }
  settings.finish();
  return trigger;
}

// A channel's own numbers over those of every channel; its interval also stands over their sample rate.
Hdf5Scale merged(Hdf5Scale own, Hdf5Scale common) {
  if (own.contains(scale_names::interval) || own.contains(scale_names::sample_rate)) {
    common.erase(scale_names::interval);
    common.erase(scale_names::sample_rate);
  }
  own.insert(common.begin(), common.end());
  return own;
}

bool is_list_of_groups(const std::optional<Value>& value) {
  if (!value) return false;
  const auto* list = std::get_if<Settings::List>(&value->is);
  return list != nullptr && !list->empty() && std::holds_alternative<Settings::Group>(list->front().is);
}

}  // namespace

Hdf5Mapping hdf5_mapping(const Settings& input) {
  Hdf5Mapping mapping;
  input.text("format", "");   // known here, whoever chose the reader
  input.text("pattern", "");  // read by those who arrange the files
  mapping.common = channel_of(input);
  if (is_list_of_groups(input.value("channels"))) {
    for (const Settings& own : input.groups("channels")) {
      Hdf5Channel channel = channel_of(own);
      channel.name = own.text("name", "");
      if (own.has("channel")) channel.position = count_of(own, "channel", 0);
      channel.index = mapping.channels.size();
      if (channel.name.empty()) own.refuse("name", "is missing", "give the channel a name");
      own.finish();
      mapping.channels.push_back(std::move(channel));
    }
  } else {
    mapping.names = input.texts("channels");
  }
  if (input.has("trigger")) mapping.trigger = trigger_of(input.group("trigger"));
  if (input.has("records")) mapping.records = count_of(input, "records", 0);
  input.finish();

  std::set<std::string> seen;
  for (Hdf5Channel& channel : mapping.channels) {
    if (!seen.insert(channel.name).second)
      input.refuse("channels", fmt::format("names '{}' twice", channel.name), "give each its own name");
    if (channel.dataset.empty()) channel.dataset = mapping.common.dataset;
    if (channel.dataset.empty())
      input.refuse("channels", fmt::format("gives '{}' no dataset", channel.name), R"(add "dataset")");
    if (channel.axes.empty()) channel.axes = mapping.common.axes;
    if (channel.samples_per_record == 0) channel.samples_per_record = mapping.common.samples_per_record;
    channel.scale = merged(std::move(channel.scale), mapping.common.scale);
  }
  return mapping;
}

}  // namespace firstedge
