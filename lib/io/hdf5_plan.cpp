#include "firstedge/io/hdf5_plan.hpp"

#include "firstedge/io/hdf5_array.hpp"
#include "firstedge/io/hdf5_numbers.hpp"
#include "firstedge/io/record_layout.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <set>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

namespace layout = record_layout;

constexpr std::size_t most_channels = 4096;
constexpr std::size_t most_datasets = 10'000;  // looked at for a guess
constexpr std::size_t datasets_in_sentence = 8;
constexpr std::size_t most_metadata = 100;
constexpr std::size_t longest_metadata = 1000;

Hdf5Number attribute_of(const std::string& path, const char* name) {
  Hdf5Number number;
  number.path = path;
  number.attribute = name;
  return number;
}

Hdf5Number dataset_at(const std::string& path) {
  Hdf5Number number;
  number.path = path;
  return number;
}

Hdf5Number constant_of(double value) {
  Hdf5Number number;
  number.constants = {value};
  return number;
}

// ---- our own layout

bool is_own_layout(const Hdf5File& file) {
  const std::string channels = joined("/", layout::channels);
  const Hdf5Guard guard;
  const H5::Group root = file.group("/");
  // Other files may have an attribute of this name, of any type.
  if (!root.attrExists(layout::layout) || !file.has(channels)) return false;
  const std::string name = text_attribute(root, layout::layout, file.path().string()).value_or("");
  if (name == layout::name) return true;
  if (!name.starts_with("firstedge")) return false;
  throw Error(file.path().string(), fmt::format("holds '{}', not '{}'", name, layout::name),
              "give a file of records");
}

std::vector<std::string> own_names(const Hdf5File& file, std::vector<std::string>& guesses) {
  const std::string path = joined("/", layout::channels);
  std::vector<std::string> found = file.links(path);
  const Hdf5Guard guard;
  const auto order = texts_attribute(file.group(path), layout::order, file.place(path), most_channels);
  if (!order) {
    guesses.emplace_back("the channels are taken in the order of their names; \"channels\" tells another");
    return found;
  }
  std::vector<std::string> sorted = *order;
  std::sort(sorted.begin(), sorted.end());
  if (sorted != found) {
    throw Error(file.place(path), "the attribute 'order' does not name each dataset of the group once",
                "write the names of all channels into it");
  }
  return *order;
}

Hdf5Channel own_channel(const Hdf5File& file, const std::string& link) {
  Hdf5Channel channel;
  channel.name = printable(link);
  channel.dataset = joined(joined("/", layout::channels), link);
  channel.axes = {"record", "sample"};
  channel.scale = {{scale_names::interval, attribute_of(channel.dataset, layout::interval)},
                   {scale_names::first_sample, attribute_of(channel.dataset, layout::first_sample)},
                   {scale_names::volts_per_count, attribute_of(channel.dataset, layout::volts_per_count)},
                   {scale_names::offset, attribute_of(channel.dataset, layout::offset)}};
  const Hdf5Guard guard;
  const H5::DataSet dataset = file.dataset(channel.dataset);
  constexpr double infinity = std::numeric_limits<double>::infinity();
  channel.scale[scale_names::lowest_count] = dataset.attrExists(layout::lowest_count)
                                                 ? attribute_of(channel.dataset, layout::lowest_count)
                                                 : constant_of(-infinity);
  channel.scale[scale_names::highest_count] = dataset.attrExists(layout::highest_count)
                                                  ? attribute_of(channel.dataset, layout::highest_count)
                                                  : constant_of(infinity);
  const std::string offsets = joined(joined("/", layout::horizontal_offsets), link);
  if (file.has(offsets)) channel.scale[scale_names::horizontal_offset] = dataset_at(offsets);
  return channel;
}

std::optional<Hdf5Trigger> own_trigger(const Hdf5File& file) {
  const std::string group = joined("/", layout::triggers);
  if (!file.has(group)) return std::nullopt;
  Hdf5Trigger trigger;
  trigger.coarse = dataset_at(joined(group, layout::seconds));
  trigger.fine = dataset_at(joined(group, layout::femtoseconds));
  trigger.scale = dataset_at(joined(group, layout::scale));
  trigger.is_instant = true;
  return trigger;
}

// What the Setup says of every channel stands over what the file says.
void override_scale(Hdf5Channel& channel, const Hdf5Scale& given) {
  if (given.contains(scale_names::sample_rate)) channel.scale.erase(scale_names::interval);
  for (const auto& [name, number] : given) channel.scale[name] = number;
}

Hdf5Plan own_plan(const Hdf5File& file, const Hdf5Mapping& mapping) {
  Hdf5Plan plan;
  std::vector<std::string> links = own_names(file, plan.guesses);
  if (!mapping.names.empty()) {
    for (const std::string& name : mapping.names) {
      if (std::find(links.begin(), links.end(), name) == links.end()) {
        throw Error(file.path().string(), fmt::format("has no channel '{}'", name),
                    fmt::format("choose among {}", fmt::join(links, ", ")));
      }
    }
    links = mapping.names;
  }
  for (std::size_t i = 0; i < links.size(); ++i) {
    Hdf5Channel channel = own_channel(file, links[i]);
    channel.index = i;
    override_scale(channel, mapping.common.scale);
    plan.channels.push_back(std::move(channel));
  }
  plan.trigger = mapping.trigger ? mapping.trigger : own_trigger(file);
  return plan;
}

// ---- the Setup's mapping, and guesses

std::vector<std::string> usual_axes(std::size_t dimensions, const std::string& place) {
  if (dimensions == 1) return {"sample"};
  if (dimensions == 2) return {"record", "sample"};
  if (dimensions == 3) return {"record", "channel", "sample"};
  throw Error(place, fmt::format("has {} dimensions", dimensions), "datasets of 1 to 3 can hold records");
}

// One channel for each place on the axis "channel" of one dataset.
std::vector<Hdf5Channel> channels_of_dataset(const Hdf5File& file, const Hdf5Channel& common,
                                             const std::vector<std::string>& names, std::size_t first_index) {
  const Hdf5Array array(file, common.dataset);
  Hdf5Channel channel = common;
  if (channel.axes.empty()) channel.axes = usual_axes(array.shape().size(), array.place());
  const auto axis = std::find(channel.axes.begin(), channel.axes.end(), "channel");
  const auto at = static_cast<std::size_t>(axis - channel.axes.begin());
  const std::uint64_t count = at < array.shape().size() ? array.shape()[at] : 1;
  if (count > most_channels || (!names.empty() && names.size() != count)) {
    throw Error(array.place(), fmt::format("has {} channels and {} names", count, names.size()),
                "give one name a channel, at most 4096");
  }
  std::vector<Hdf5Channel> channels;
  for (std::uint64_t i = 0; i < count; ++i) {
    channel.position = i;
    channel.index = first_index + i;
    channel.name = names.empty() ? fmt::format("channel_{}", channel.index + 1) : names[i];
    channels.push_back(channel);
  }
  return channels;
}

struct Found {
  std::string path;
  std::vector<std::uint64_t> shape;
};

std::string described(const std::vector<Found>& found) {
  std::vector<std::string> words;
  for (const Found& one : found) {
    if (words.size() == datasets_in_sentence) {
      words.push_back(fmt::format("... ({} in all)", found.size()));
      break;
    }
    words.push_back(fmt::format("{} ({})", printable(one.path, 60), fmt::join(one.shape, " x ")));
  }
  return words.empty() ? "none" : fmt::format("{}", fmt::join(words, ", "));
}

// The datasets of plain numbers that can be opened safely.
std::vector<Found> numeric_datasets(const Hdf5File& file) {
  std::vector<Found> found;
  for (const std::string& path : file.datasets(most_datasets)) {
    try {
      const Hdf5Array array(file, path);
      const Hdf5Guard guard;
      if (number_type(array.type())) found.push_back({path, array.shape()});
    } catch (const Error&) {  // not one of those
    }
  }
  return found;
}

std::string group_of(const std::string& path) {
  return path.substr(0, path.rfind('/'));
}

bool side_by_side(const std::vector<Found>& found) {
  return std::all_of(found.begin(), found.end(), [&](const Found& one) {
    return one.shape.size() == 2 && one.shape == found.front().shape &&
           group_of(one.path) == group_of(found.front().path);
  });
}

Hdf5Plan guessed_plan(const Hdf5File& file, const Hdf5Mapping& mapping, std::size_t first_index) {
  const std::vector<Found> all = numeric_datasets(file);
  std::vector<Found> candidates;
  std::copy_if(all.begin(), all.end(), std::back_inserter(candidates), [](const Found& one) {
    return (one.shape.size() == 2 || one.shape.size() == 3) &&
           std::find(one.shape.begin(), one.shape.end(), 0U) == one.shape.end();
  });
  const bool clear = candidates.size() == 1 || (candidates.size() > 1 && side_by_side(candidates));
  if (!clear || candidates.size() > most_channels) {
    throw Error(file.path().string(),
                fmt::format("it is not clear which dataset holds the records; datasets of numbers: {}",
                            described(all)),
                "name them in the Setup's input group (\"dataset\" or \"channels\")");
  }
  Hdf5Plan plan;
  Hdf5Channel channel = mapping.common;
  if (candidates.size() == 1) {
    channel.dataset = candidates.front().path;
    plan.channels = channels_of_dataset(file, channel, mapping.names, first_index);
    plan.guesses.push_back(
        fmt::format("{} is taken as the records, by {}; \"dataset\" and \"axes\" tell others",
                    described(candidates), fmt::join(plan.channels.front().axes, ", ")));
    return plan;
  }
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    channel.dataset = candidates[i].path;
    channel.axes = {"record", "sample"};
    channel.index = first_index + i;
    channel.name = printable(channel.dataset.substr(channel.dataset.rfind('/') + 1));
    plan.channels.push_back(channel);
  }
  plan.guesses.push_back(
      fmt::format("each of {} is taken as a channel, records by samples; \"channels\" tells others",
                  described(candidates)));
  return plan;
}

struct UsualAttribute {
  const char* attribute;
  const char* name;  // of the scale
};

// Names under which programs of all kinds keep the scale, in SI units.
constexpr std::array usual_attributes{
    UsualAttribute{"interval_s", scale_names::interval},
    UsualAttribute{"sample_interval_s", scale_names::interval},
    UsualAttribute{"sample_interval", scale_names::interval},
    UsualAttribute{"interval", scale_names::interval},
    UsualAttribute{"dt", scale_names::interval},
    UsualAttribute{"sample_rate_hz", scale_names::sample_rate},
    UsualAttribute{"sample_rate", scale_names::sample_rate},
    UsualAttribute{"sampling_rate", scale_names::sample_rate},
    UsualAttribute{"first_sample_s", scale_names::first_sample},
    UsualAttribute{"volts_per_count", scale_names::volts_per_count},
    UsualAttribute{"offset_v", scale_names::offset},
};

bool has_number(const Hdf5File& file, const std::string& path, const char* attribute) {
  const Hdf5Guard guard;
  try {
    return number_attribute(path == "/" ? static_cast<const H5::H5Object&>(file.group(path))
                                        : static_cast<const H5::H5Object&>(file.dataset(path)),
                            attribute, file.place(path))
        .has_value();
  } catch (const Error&) {
    return false;
  }
}

// Fills what the Setup leaves open from attributes of the dataset or the root, and says so.
void guess_scale(const Hdf5File& file, Hdf5Channel& channel, std::vector<std::string>& guesses) {
  for (const UsualAttribute& usual : usual_attributes) {
    const bool is_interval = std::string_view(usual.name) == scale_names::sample_rate ||
                             std::string_view(usual.name) == scale_names::interval;
    if (channel.scale.contains(usual.name)) continue;
    if (is_interval &&
        (channel.scale.contains(scale_names::interval) || channel.scale.contains(scale_names::sample_rate)))
      continue;
    for (const std::string& path : {channel.dataset, std::string("/")}) {
      if (!has_number(file, path, usual.attribute)) continue;
      channel.scale[usual.name] = attribute_of(path, usual.attribute);
      guesses.push_back(fmt::format(
          "\"{}\" is taken from the attribute {}@{}, in SI units; the setting of this name tells another",
          usual.name, printable(path, 60), usual.attribute));
      break;
    }
  }
}

std::map<std::string, std::string> root_metadata(const Hdf5File& file) {
  std::map<std::string, std::string> metadata;
  const Hdf5Guard guard;
  const H5::Group root = file.group("/");
  for (const std::string& name : attribute_names(root, most_metadata)) {
    if (name == layout::layout) continue;
    try {
      metadata[printable(name)] =
          printable(text_attribute(root, name, file.path().string()).value_or(""), longest_metadata);
      continue;
    } catch (const Error&) {  // not a text
    }
    try {
      metadata[printable(name)] =
          fmt::format("{}", number_attribute(root, name, file.path().string()).value_or(0));
    } catch (const Error&) {  // nor a number: no matter
    }
  }
  return metadata;
}

}  // namespace

Hdf5Plan hdf5_plan(const Hdf5File& file, const Hdf5Mapping& mapping, std::size_t first_index) {
  Hdf5Plan plan;
  if (mapping.names_datasets()) {
    plan.channels = mapping.channels.empty()
                        ? channels_of_dataset(file, mapping.common, mapping.names, first_index)
                        : mapping.channels;
    plan.trigger = mapping.trigger;
  } else if (is_own_layout(file)) {
    plan = own_plan(file, mapping);
  } else {
    plan = guessed_plan(file, mapping, first_index);
    plan.trigger = mapping.trigger;
    for (Hdf5Channel& channel : plan.channels) {
      std::vector<std::string> guesses;
      guess_scale(file, channel, guesses);
      if (&channel == &plan.channels.front())
        std::move(guesses.begin(), guesses.end(), std::back_inserter(plan.guesses));
    }
  }
  std::set<std::string> seen;
  for (const Hdf5Channel& channel : plan.channels) {
    if (!seen.insert(channel.name).second)
      throw Error(file.path().string(), fmt::format("has two channels '{}'", channel.name),
                  "give each its own name");
  }
  if (plan.channels.empty() || plan.channels.size() > most_channels)
    throw Error(file.path().string(), fmt::format("has {} channels", plan.channels.size()),
                "1 to 4096 are read");
  plan.metadata = root_metadata(file);
  return plan;
}

}  // namespace firstedge
