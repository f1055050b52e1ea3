// Writes records in our own HDF5 layout, for the simulator, for conversions and for tests.
#pragma once

#include "firstedge/core/record.hpp"

#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <vector>

namespace firstedge {

struct RecordWriterOptions {
  std::vector<std::string> channels;              ///< names, in the order of Record::traces
  int deflate_level = 4;                          ///< 0: contiguous-like chunks without compression
  std::map<std::string, std::string> attributes;  ///< texts put on the file's root
};

/// The file appears under its name only after finish(). The first record fixes each channel's sample type,
/// size and scale; a record that differs in them throws Error. Missing traces cannot be written and throw
/// Error.
class RecordWriter {
 public:
  RecordWriter(const std::filesystem::path& file, const RecordWriterOptions& options);
  ~RecordWriter();
  RecordWriter(const RecordWriter&) = delete;
  RecordWriter& operator=(const RecordWriter&) = delete;

  void write(const RecordBlock& block);
  void finish();

 private:
  class Sink;
  std::unique_ptr<Sink> sink_;
};

}  // namespace firstedge
