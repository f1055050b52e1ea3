#include "firstedge/io/setup.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/json_settings.hpp"
#include "firstedge/io/setup_elements.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <set>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::string_view default_text = R"({
  "title": "no setup given",
  "every_channel": {
    "search": { "polarity": "either" },
    "timing": [
      { "method": "constant_fraction", "fraction": 0.3 },
      { "method": "leading_edge" },
      { "method": "template_fit" }
    ]
  }
}
)";

// More would be read before the first stamp is made, and none of the things learnt gets better for it.
constexpr std::uint64_t most_learning_records = 1'000'000;

// The names that a channel and every_channel have in common; what is absent is taken from `defaults`.
ChannelSetup channel_of(const Settings& settings, const ChannelSetup& defaults,
                        std::span<const Element> elements) {
  ChannelSetup channel;
  channel.sensor = settings.text("sensor", defaults.sensor);
  channel.load_ohm = settings.quantity("load", "ohm", defaults.load_ohm);
  if (!(channel.load_ohm > 0) || !std::isfinite(channel.load_ohm)) {
    settings.refuse("load", fmt::format("is {} ohm", channel.load_ohm),
                    "give a resistance above 0, like \"50 ohm\"");
  }
  channel.baseline = settings.group("baseline").over(defaults.baseline);
  channel.noise = settings.group("noise").over(defaults.noise);
  channel.search = settings.group("search").over(defaults.search);
  channel.filters = settings.has("filters") ? settings.groups("filters") : defaults.filters;
  channel.timing = settings.has("timing") ? settings.groups("timing") : defaults.timing;
  channel.chain = chain_from(settings, elements);
  if (!channel.chain) channel.chain = defaults.chain;
  return channel;
}

std::vector<ChannelSetup> channels_of(const Settings& root, const ChannelSetup& every_channel,
                                      std::span<const Element> elements) {
  std::vector<ChannelSetup> channels;
  std::set<std::string> names;
  for (const Settings& settings : root.groups("channels")) {
    const std::string name = settings.text("name", "");
    if (name.empty()) settings.refuse("name", "is missing or empty", "name the channel as the files do");
    if (!names.insert(name).second) {
      settings.refuse("name", fmt::format("lists channel '{}' again", name), "list each channel once");
    }
    channels.push_back(channel_of(settings, every_channel, elements));
    channels.back().name = name;
    settings.finish();
  }
  return channels;
}

Setup setup_of(std::string_view json, const std::string& place, const ChannelSetup& defaults) {
  const Settings root = settings_from_json(json, place);
  Setup setup;
  setup.text = json;
  setup.title = root.text("title", "");
  setup.input = root.group("input");
  setup.learning_records = static_cast<std::size_t>(
      root.whole_number("learning_records", setup.learning_records, 1, most_learning_records));
  setup.elements = elements_from(root);
  setup.temperature_c = temperature_from(root);
  const Settings every_channel = root.group("every_channel");
  setup.every_channel = channel_of(every_channel, defaults, setup.elements);
  every_channel.finish();
  setup.channels = channels_of(root, setup.every_channel, setup.elements);
  root.finish();
  return setup;
}

}  // namespace

ChannelSetup Setup::channel(const std::string& name) const {
  const auto own = std::find_if(channels.begin(), channels.end(),
                                [&](const ChannelSetup& one) { return one.name == name; });
  ChannelSetup channel = own == channels.end() ? every_channel : *own;
  channel.name = name;
  return channel;
}

std::vector<Chain> Setup::chains() const {
  std::vector<Chain> chains;
  for (const ChannelSetup& channel : channels) {
    if (channel.chain) chains.push_back({.channel = channel.name, .elements = *channel.chain});
  }
  return chains;
}

Setup read_setup(const std::filesystem::path& file) {
  return parse_setup(read_text_file(file, most_json_bytes), file.string());
}

Setup parse_setup(std::string_view json, const std::string& place) {
  return setup_of(json, place, default_setup().every_channel);
}

Setup default_setup() {
  return setup_of(default_text, "default setup", {});
}

}  // namespace firstedge
