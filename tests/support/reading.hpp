// Reads a whole run into memory, for tests.
#pragma once

#include "firstedge/core/record.hpp"
#include "firstedge/io/record_reader.hpp"

#include <cstddef>
#include <cstring>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge::test {

/// All records of a run, and the blocks that keep their samples.
struct ReadRun {
  std::vector<Record> records;
  std::vector<RecordBlock> blocks;
  RunDescription description;
  ReadingAccount account;
};

inline ReadRun read_whole(RecordReader& reader, std::size_t records_in_block = 7) {
  ReadRun run;
  for (;;) {
    RecordBlock block = reader.next_block(records_in_block);
    if (block.records.empty()) break;
    run.records.insert(run.records.end(), block.records.begin(), block.records.end());
    run.blocks.push_back(std::move(block));
  }
  run.description = reader.description();
  run.account = reader.account();
  return run;
}

/// The samples' own bytes, for byte-exact comparison.
inline std::string bytes_of(const Trace& trace) {
  return std::visit(
      [](const auto& samples) {
        const auto bytes = std::as_bytes(samples);
        std::string text(bytes.size(), '\0');
        if (!bytes.empty()) std::memcpy(text.data(), bytes.data(), bytes.size());
        return text;
      },
      trace.counts);
}

inline std::vector<std::byte> bytes_of(std::string_view text) {
  std::vector<std::byte> bytes(text.size());
  if (!text.empty()) std::memcpy(bytes.data(), text.data(), text.size());
  return bytes;
}

}  // namespace firstedge::test
