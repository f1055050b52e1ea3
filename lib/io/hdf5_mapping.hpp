// What the Setup's "input" group says of HDF5 files that are not in our own layout: which dataset is which
// channel, what its axes mean, and where the scale and the trigger times stand.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/core/settings.hpp"

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// A number of a channel's scale: given in the Setup, or at a place in the file that holds one number or one
/// a record (or, if by_channel, one a channel).
struct Hdf5Number {
  std::vector<double> constants;  ///< one for all channels or one a channel; empty: it is in the file
  std::string path;               ///< of a dataset, or of the object with the attribute; empty: the channel's
  std::string attribute;          ///< empty: the dataset at path itself
  double times = 1;               ///< what is found there is multiplied by this
  bool by_channel = false;
};

/// The numbers of a channel's scale by their names in the Setup; what is not given is not there.
using Hdf5Scale = std::map<std::string, Hdf5Number>;

namespace scale_names {
inline constexpr const char* interval = "interval";                    // s
inline constexpr const char* sample_rate = "sample_rate";              // Hz, in place of interval
inline constexpr const char* first_sample = "first_sample";            // s from the trigger
inline constexpr const char* horizontal_offset = "horizontal_offset";  // s, added to first_sample
inline constexpr const char* volts_per_count = "volts_per_count";      // V
inline constexpr const char* offset = "offset";                        // V
inline constexpr const char* lowest_count = "lowest_count";
inline constexpr const char* highest_count = "highest_count";
inline constexpr const char* valid_samples = "valid_samples";  // of a record, from its first
}  // namespace scale_names

/// Where one channel's samples are.
struct Hdf5Channel {
  std::string name;
  std::string dataset;
  std::vector<std::string> axes;          ///< empty: the usual ones for the number of dimensions
  std::size_t index = 0;                  ///< among the channels of the run: its place in a list of constants
  std::optional<std::uint64_t> position;  ///< on the axis "channel"
  std::uint64_t samples_per_record = 0;   ///< of a 1-D dataset of many records; 0: it is one record
  Hdf5Scale scale;
};

/// Where the trigger's Instant of each record is: origin + coarse * coarse_unit + fine * fine_unit.
struct Hdf5Trigger {
  Hdf5Number coarse;
  std::int64_t coarse_unit_fs = femtoseconds_per_second;
  std::optional<Hdf5Number> fine;
  std::int64_t fine_unit_fs = 1;
  std::optional<Hdf5Number> scale;  ///< one number a record: 0 UTC, 1 TAI, 2 GPS, 255 no trigger
  Instant origin;                   ///< its scale holds if `scale` is not given
  bool is_instant = false;  ///< coarse and fine are the two numbers of an Instant, leap seconds included
};

/// The "input" group, read. Names (docs/file-layouts.md shows them at work):
/// - "channels": a list of groups, one a channel, each with "name", "dataset" and what else differs; or of
///   names, with one "dataset" that has an axis "channel", or to choose channels of our own layout.
/// - "dataset", "axes", "samples_per_record" and the names of the scale: for every channel, or in a channel's
///   group for that channel. There also "channel", the position on the axis of this name. A number of the
///   scale is a quantity ("0.2 ns") or a list with one a channel, a place ("/run/dt", "/run@dt", or "@dt" for
///   an attribute of the channel's dataset), or {"at": place, "times": 1e-9, "by": "record" or "channel"}.
/// - "trigger": {"coarse", "coarse_unit" ("1 s"), "fine", "fine_unit", "scale", "origin"}.
/// - "records": at most so many of each file.
struct Hdf5Mapping {
  std::vector<Hdf5Channel> channels;  ///< of the list of groups
  std::vector<std::string> names;     ///< of the list of names
  Hdf5Channel common;                 ///< what is said for every channel
  std::optional<Hdf5Trigger> trigger;
  std::optional<std::uint64_t> records;

  bool names_datasets() const { return !channels.empty() || !common.dataset.empty(); }
};

/// Throws Error at the setting that is wrong, or is not known here.
Hdf5Mapping hdf5_mapping(const Settings& input);

}  // namespace firstedge
