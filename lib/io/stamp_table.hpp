// The stamp table: all stamps of a run in one HDF5 file (or CSV), with what made them.
#pragma once

#include "firstedge/core/applied_delay.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/core/result.hpp"
#include "firstedge/core/stamp.hpp"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace firstedge {

/// Of the table of a part of a run: which part, and a digest of what was learnt for it.
struct StampTablePart {
  std::uint64_t number = 1, of = 1;  ///< from 1 to of
  std::string learnt_sha256;
  friend bool operator==(const StampTablePart&, const StampTablePart&) = default;
};

/// What a stamp table says of itself.
struct StampTableHead {
  struct Channel {
    std::string name, sensor;
    double interval_s = 0;
    double load_ohm = 50;
    double noise_v = 0;
  };
  struct Method {
    std::string name;      ///< "constant_fraction"
    std::string settings;  ///< "fraction=0.3", for people
  };
  std::string title;
  std::vector<Channel> channels;
  std::vector<Method> methods;
  std::vector<AppliedDelay> applied_delays;  ///< taken out of the stamps' times; empty: none
  Provenance provenance;
  std::optional<StampTablePart> part;  ///< nothing: the whole run
};

/// The number of the channel of that name; of the method, by its name or as the rows of a CSV table have it,
/// the first for "". Throw Error naming place, with what there is, for any other.
std::size_t channel_numbered(const StampTableHead& head, const std::string& name, const std::string& place);
std::size_t method_numbered(const StampTableHead& head, const std::string& name, const std::string& place);

/// The trigger instant of a record, for runs that have one.
struct TriggerRow {
  std::uint64_t record = 0;
  Instant instant;
};

/// Writes a table by blocks; the file appears under its name only when finish() has succeeded (until then the
/// name has
/// ".part" behind it, removed by the destructor). Format by extension: ".h5"/".hdf5" or ".csv".
///
/// HDF5 layout "firstedge stamp table 1": /stamps, a 1-D chunked, shuffled and deflated dataset of a compound
/// type with one member a field of Stamp (numbers only, so that h5py and pandas read it in one line);
/// /channels and /methods, 1-D compound datasets with the names; /triggers (record, seconds, femtoseconds,
/// scale) when there are instants; attributes title, layout, provenance (JSON text), and
/// applied_delays (JSON text) where delays were taken out, part (JSON text) in the table of a part of a run.
/// CSV: '#' lines of the head, then a header line with units and one line a stamp, names written out, numbers
/// in the shortest form that reads back to the same double.
class StampTableWriter {
 public:
  StampTableWriter(const std::filesystem::path& file, const StampTableHead& head);
  ~StampTableWriter();
  StampTableWriter(const StampTableWriter&) = delete;
  StampTableWriter& operator=(const StampTableWriter&) = delete;

  void write(std::span<const Stamp> stamps, std::span<const TriggerRow> triggers = {});
  /// Puts this provenance in the place of the head's, whose text must be as long: for digests that become
  /// known while stamps are written. The file is that of a writer which had it from the beginning.
  void complete(const Provenance& provenance);
  void finish();

 private:
  class Sink;
  std::unique_ptr<Sink> sink_;
};

/// The stamps of a table in memory, which outlives this.
struct StampTableInMemory {
  std::string name;  ///< for people
  const StampTableHead* head = nullptr;
  std::span<const Stamp> stamps;
  std::span<const TriggerRow> triggers;
};

/// Where a stamp table is: in a file, or in memory.
using StampTableAt = std::variant<std::filesystem::path, StampTableInMemory>;

/// The file's name, or what the table is called: for sentences.
std::string place_of(const StampTableAt& table);

/// Reads a stamp table by blocks; Error for anything that is not one. Both formats, and memory.
class StampTableReader {
 public:
  explicit StampTableReader(const StampTableAt& table);
  ~StampTableReader();
  StampTableReader(const StampTableReader&) = delete;
  StampTableReader& operator=(const StampTableReader&) = delete;

  const StampTableHead& head() const;
  std::uint64_t size() const;
  /// The next stamps, at most max_stamps; empty at the end.
  std::vector<Stamp> next_block(std::size_t max_stamps);
  std::vector<TriggerRow> triggers();

 private:
  class Source;
  std::unique_ptr<Source> source_;
};

}  // namespace firstedge
