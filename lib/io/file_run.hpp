// A run of many files that each hold some records: arranged by the Setup, opened one after the other, joined
// by channel.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/record.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/file_pattern.hpp"
#include "firstedge/io/record_reader.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// A record larger than this is refused before memory is asked for: no digitizer writes one, a damaged header
/// does.
inline constexpr std::uint64_t most_record_bytes = std::uint64_t{1} << 30U;

/// How many records a reader takes at once: as many as asked for, but not more than some 4 million samples.
std::size_t records_at_once(std::size_t asked, std::uint64_t samples_in_record);

/// Records taken from one file, in order.
struct FileRecords {
  struct One {
    std::vector<Trace> traces;  ///< empty: this record is damaged
    std::optional<Instant> trigger;
    std::shared_ptr<const void> storage;
  };
  std::vector<One> records;       ///< none means the end
  std::uint64_t lost_at_end = 0;  ///< with the end: records that should have followed
  std::vector<Error> problems;
  std::vector<std::string> remarks;
};

/// One opened file. next(most) gives the next records, 1 to most of them, or none at the end; it may throw
/// Error, which ends the file. skip(most) passes over records unread and gives their number, 0 where the next
/// has to be read; empty where a file has no such way.
struct RecordFile {
  std::optional<std::uint64_t> record_count;
  std::function<FileRecords(std::size_t most)> next;
  std::function<std::uint64_t(std::uint64_t most)> skip = {};
};

/// Opens one file whose first channel has the given position in the run. Throws Error for a file that is not
/// usable.
using OpenRecordFile = std::function<RecordFile(const ByteSource& source, std::size_t first_channel)>;

/// The "pattern" of the input group, if there is one.
std::optional<FilePattern> pattern_of(const Settings& input);

/// Which files make the run, in which order. Settings: "pattern" (io/file_pattern.hpp) and, with it,
/// "channels".
struct FileArrangement {
  std::vector<ByteSource> sources;
  std::vector<std::string> channels;  ///< one file a channel; empty: each file holds all channels
  std::vector<FileGroups::Group> groups;
  std::vector<std::string> remarks;
};

/// Without "pattern" each source is a group of its own, in the order given.
FileArrangement arrange_files(std::vector<ByteSource> sources, const Settings& input);

/// from_file for each path.
std::vector<ByteSource> sources_of(const std::vector<std::filesystem::path>& files);

/// The reader of such a run. description needs format, channels, guesses and metadata; the rest is filled in.
/// With one file a channel, files of a group are read side by side: a record is handed over if one of its
/// channels is good, the others are empty and counted. A file that cannot be opened counts as one bad record.
/// Record::index grows by one a record, and at least to the group's index, so that missing numbers keep their
/// places. Throws Error (the first met) if no file can be opened, or none holds a record.
std::unique_ptr<RecordReader> read_file_run(RunDescription description, FileArrangement arrangement,
                                            OpenRecordFile open);

}  // namespace firstedge
