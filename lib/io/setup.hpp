// Setup: the one JSON file that describes a bench or a station.
#pragma once

#include "firstedge/core/chain.hpp"
#include "firstedge/core/settings.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// What the Setup says of one channel. Each group of Settings belongs to the room that reads it; an empty one
/// stands for that room's defaults.
struct ChannelSetup {
  std::string name;
  std::string sensor;             ///< free text for people: what is connected
  double load_ohm = 50;           ///< over which voltage becomes charge
  Settings baseline;              ///< signal/baseline.hpp
  std::vector<Settings> filters;  ///< signal/filter.hpp, applied in order
  Settings noise;                 ///< batch/learning.hpp: {"rms": "0.4 mV"}, or learnt
  Settings search;                ///< timing/pulse_search.hpp
  std::vector<Settings> timing;   ///< timing/methods.hpp, one a method
  /// Elements from the sensor to the record, by name; nothing where the Setup does not say (an empty list
  /// says that there are none).
  std::optional<std::vector<std::string>> chain;
};

/// A whole Setup, and the text it came from (for provenance).
///
/// JSON: {"title": text, "input": {...}, "learning_records": number, "every_channel": {"sensor": text,
/// "load": "50 ohm", "baseline": {...}, "filters": [{...}], "noise": {...}, "search": {...}, "timing":
/// [{...}], "chain": [names]}, "elements": [{...}], "temperature": {...}, "channels": [{"name": text, and the
/// same names as every_channel}]}. Every name may be left out but "name".
struct Setup {
  std::string title;
  std::string text;
  Settings input;                       ///< io/record_reader.hpp
  std::size_t learning_records = 2000;  ///< at the start of the run, that noise and templates are learnt from
  std::vector<Element> elements;        ///< io/setup_elements.hpp
  std::optional<Estimate> temperature_c;  ///< of the surroundings of all elements
  ChannelSetup every_channel;             ///< what holds for a channel that the list does not name
  /// Each as it holds: its own settings over those of every_channel, name by name within a group; a list
  /// given (an empty one too) replaces the list.
  std::vector<ChannelSetup> channels;

  /// The settings of the channel with this name: its entry in channels, or every_channel under that name.
  ChannelSetup channel(const std::string& name) const;
  /// The channels that have a chain, in the order of the list.
  std::vector<Chain> chains() const;
};

/// Reads a Setup. What neither a channel nor every_channel says is taken from default_setup(). Throws Error
/// with the place (file, line and column, or path of names) for text that is not JSON, unknown or repeated
/// names, wrong kinds, a channel listed twice or without a name, more than 1 MiB, or nesting deeper than 32.
/// The groups themselves are checked by the rooms that read them.
Setup read_setup(const std::filesystem::path& file);
Setup parse_setup(std::string_view json, const std::string& place);

/// The Setup used when none is given: automatic baseline, pulse search in both polarities, and three methods
/// (constant fraction at 0.3, leading edge, template fit).
Setup default_setup();

}  // namespace firstedge
