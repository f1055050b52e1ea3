// The one interface of all record readers, and the door through which files are opened.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/record.hpp"
#include "firstedge/core/settings.hpp"

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// What is known of a run when its files have been opened, before its records are read.
struct RunDescription {
  std::string format;                         ///< "hdf5", "npy", "text", "binary" or "block"
  std::vector<std::string> channels;          ///< names, in the order of Record::traces
  std::optional<std::uint64_t> record_count;  ///< nothing when it takes a full read to know
  std::vector<std::filesystem::path> files;   ///< Record::file indexes these
  std::vector<std::string> guesses;  ///< one sentence a guess, each naming the setting that overrides it
  std::map<std::string, std::string> metadata;  ///< header lines and attributes that have no meaning to us
};

/// What happened while reading. Nothing is dropped without being counted here.
struct ReadingAccount {
  std::uint64_t records_good = 0;    ///< handed over
  std::uint64_t records_bad = 0;     ///< left out: damaged
  std::uint64_t traces_missing = 0;  ///< empty traces in records handed over
  std::vector<Error> problems;  ///< the first of each kind, at most 20; a run with problems exits with code 2
  std::vector<std::string> remarks;  ///< doubtful but harmless: byte-identical files, ragged lengths, ...
};

/// Reads records in order, by blocks. Memory depends on the block, never on the file.
class RecordReader {
 public:
  RecordReader() = default;
  RecordReader(const RecordReader&) = delete;
  RecordReader& operator=(const RecordReader&) = delete;
  virtual ~RecordReader() = default;

  virtual const RunDescription& description() const = 0;

  /// The next records, at most max_records (>= 1) of them; an empty block means the end. Damage met here
  /// never throws: it is put into the account, and the good records around it are handed over.
  virtual RecordBlock next_block(std::size_t max_records) = 0;

  /// Before the first block: passes over records whose index is below this one without reading them, as far
  /// as the format allows. What is met in them is not in the account; those that are left come as always.
  /// Returns an index below which none will come.
  virtual std::uint64_t skip_to(std::uint64_t /*index*/) { return 0; }

  /// Grows while reading; complete once next_block has returned an empty block.
  virtual const ReadingAccount& account() const = 0;

  /// How much of the input has been read, 0 to 1, for runs whose number of records is not known beforehand;
  /// nothing if that cannot be told.
  virtual std::optional<double> share_read() const { return std::nullopt; }
};

/// Opens one run. Files are one run in the order given (a folder stands for its files in natural order).
/// `input` is the Setup's "input" group: "format" names the format (guessed from the content if absent), the
/// rest belongs to the format (see the header of each). Throws Error if nothing can be read.
std::unique_ptr<RecordReader> open_records(const std::vector<std::filesystem::path>& files,
                                           const Settings& input);

}  // namespace firstedge
