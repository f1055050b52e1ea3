// Writes records in our own HDF5 layout, for the simulator, for conversions and for tests.
#pragma once

#include "firstedge/core/record.hpp"

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

struct RecordWriterOptions {
  /// Names, in the order of Record::traces: not empty, all different, without '/' or control characters, at
  /// most 200 bytes, not "." or "..".
  std::vector<std::string> channels = {};
  int deflate_level = 4;  ///< 1 to 9, with shuffle; 0: chunks without compression
  std::map<std::string, std::string> attributes = {};  ///< texts put on the file's root
  /// How many records will come, if that is known and they are to stand contiguous, uncompressed.
  std::optional<std::uint64_t> contiguous_records = {};
};

/// Writes the layout "firstedge records 1" (docs/file-layouts.md). Counts, times and trigger Instants read
/// back bit for bit, and the same records give the same bytes however they are cut into blocks. Memory is one
/// chunk (about half a megabyte) a channel.
///
/// The file appears under its name only after finish(). The first record fixes each channel's sample type,
/// size, interval, scale and limits; a record that differs in them throws Error, as do missing traces, which
/// cannot be written. A record that was refused leaves the writer as it was. The time of the first sample may
/// differ from record to record, and a record may have a trigger Instant or none.
class RecordWriter {
 public:
  /// Throws Error for options that cannot be used and for a file that cannot be made.
  RecordWriter(const std::filesystem::path& file, const RecordWriterOptions& options);
  ~RecordWriter();
  RecordWriter(const RecordWriter&) = delete;
  RecordWriter& operator=(const RecordWriter&) = delete;

  void write(std::span<const Record> records);
  void write(const RecordBlock& block) { write(std::span(block.records)); }
  /// Throws Error if no record was written, or not as many as contiguous_records.
  void finish();

 private:
  class Sink;
  std::unique_ptr<Sink> sink_;
};

}  // namespace firstedge
