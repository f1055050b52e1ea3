#include "firstedge/io/block_reader.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/binary_layout.hpp"
#include "firstedge/io/file_run.hpp"

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::uint64_t most_text_bytes = 65536;  // before a block

// Where a block's data stand.
struct BlockSpan {
  std::uint64_t first = 0;  // byte of the file
  std::uint64_t size = 0;
  bool definite = true;
  std::uint64_t end() const { return first + size; }
};

struct BlockOptions {
  bool text_before = false;
  bool holds_channel = false;
};

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

bool is_text(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return byte >= 0x20 || (byte >= 0x08 && byte <= 0x0d);  // with tab, line ends, form feed, backspace
}

std::string text_at(const ByteSource& source, std::uint64_t offset, std::uint64_t most) {
  const std::vector<std::byte> bytes =
      source.read(offset, static_cast<std::size_t>(std::min<std::uint64_t>(most, source.size() - offset)));
  std::string text;
  for (const std::byte byte : bytes) text += std::to_integer<char>(byte);
  return text;
}

[[noreturn]] void refuse(const ByteSource& source, std::uint64_t offset, const std::string& problem) {
  throw Error(fmt::format("{}, byte {}", source.name(), offset), problem,
              "read the block from the instrument again, or correct the layout");
}

// The first byte at or after `offset` that is not white space or a separator; if text may stand there, the
// '#' that a digit follows. The end of the file if there is nothing more.
std::uint64_t find_start(const ByteSource& source, std::uint64_t offset, const BlockOptions& options) {
  constexpr std::uint64_t piece = 256;
  const std::uint64_t limit = std::min(source.size(), offset + most_text_bytes);
  for (std::uint64_t at = offset; at < limit; at += piece) {
    const std::string text = text_at(source, at, piece + 1);  // one more: the digit after a '#' at the end
    for (std::size_t i = 0; i < std::min<std::size_t>(piece, text.size()); ++i) {
      const bool starts = text[i] == '#' && i + 1 < text.size() && is_digit(text[i + 1]);
      const bool separates = std::string_view(" \t\r\n,;").find(text[i]) != std::string_view::npos;
      if (starts || (!separates && !options.text_before)) return at + i;
      if (!is_text(text[i])) refuse(source, at + i, "neither text nor a block");
    }
  }
  if (limit < source.size())
    refuse(source, limit, fmt::format("no block in {} bytes of text", most_text_bytes));
  return limit;
}

// The block that starts at or after offset; nothing at the end of the file.
std::optional<BlockSpan> find_block(const ByteSource& source, std::uint64_t offset,
                                    const BlockOptions& options) {
  const std::uint64_t start = find_start(source, offset, options);
  if (start == source.size()) return std::nullopt;
  const std::string text = text_at(source, start, 11);  // '#', a digit, at most 9 digits
  if (text[0] != '#') refuse(source, start, "a block should start here with '#'");
  if (text.size() < 2 || !is_digit(text[1]))
    refuse(source, start, "the '#' of a block is not followed by a digit");
  const auto digits = static_cast<std::size_t>(text[1] - '0');
  BlockSpan block;
  block.first = start + 2 + digits;
  if (digits == 0) {
    block.definite = false;
    block.size = source.size() - block.first;
    return block;
  }
  const std::string_view length = std::string_view(text).substr(2, digits);
  if (length.size() < digits || !std::all_of(length.begin(), length.end(), is_digit)) {
    refuse(source, start, fmt::format("the block's length should have {} digits", digits));
  }
  for (const char digit : length) block.size = block.size * 10 + static_cast<std::uint64_t>(digit - '0');
  if (block.size > source.size() - block.first) {
    refuse(source, start,
           fmt::format("a block of {} bytes, but {} are left in the file", block.size,
                       source.size() - block.first));
  }
  return block;
}

// An indefinite block without the line feed at its end.
BlockSpan without_line_feed(const ByteSource& source, BlockSpan block, const BinaryLayout& layout) {
  if (block.definite || (layout.samples && block.size == layout.record_bytes(*layout.samples))) return block;
  if (block.size == 0 || text_at(source, block.end() - 1, 1) != "\n") {
    refuse(source, block.end(), "a block of indefinite length does not end with a line feed");
  }
  --block.size;
  return block;
}

// The record in one block. A block of the wrong length gives a damaged record and a problem.
FileRecords read_block(const ByteSource& source, const BlockSpan& whole, const BinaryLayout& layout) {
  const BlockSpan block = without_line_feed(source, whole, layout);
  const BinaryLayout::Fit fit = layout.fit(block.size);
  const std::string place = fmt::format("{}, byte {}", source.name(), block.first);
  std::string problem;
  if (block.size > most_record_bytes) {
    problem = fmt::format("a block of {} bytes, more than {}", block.size, most_record_bytes);
  } else if (layout.samples && block.size != layout.record_bytes(*layout.samples)) {
    problem = fmt::format("a block of {} bytes, the layout's have {}", block.size,
                          layout.record_bytes(*layout.samples));
  } else if (!fit.exact) {
    problem = fmt::format("a block of {} bytes is no whole number of samples", block.size);
  }
  if (problem.empty()) {
    return decode_records(source.read(block.first, static_cast<std::size_t>(block.size)), layout, 1,
                          static_cast<std::size_t>(fit.samples), place);
  }
  FileRecords damaged;
  damaged.records.emplace_back();
  damaged.problems.emplace_back(place, problem, "correct the layout, or read the block again");
  return damaged;
}

// Takes the blocks of one file in order, a record at a time.
class BlockFile {
 public:
  BlockFile(const ByteSource& source, const BinaryLayout& layout, const BlockOptions& options)
      : source_(&source), options_(options), layout_(layout) {
    if (source.size() == 0) throw Error(source.name(), "is empty", "name a file that holds blocks");
    if (layout.file_header_bytes > source.size()) {
      throw Error(source.name(), "ends inside its header", "correct \"file_header_bytes\" in the layout");
    }
    offset_ = layout.file_header_bytes;
    if (!find_block(source, offset_, options)) throw Error(source.name(), "holds no block", "check the file");
  }

  FileRecords next_record() { return options_.holds_channel ? next_joined() : next_one(layout_); }

 private:
  // The next block as a record of its own; no record at the end.
  FileRecords next_one(const BinaryLayout& layout) {
    const auto block = find_block(*source_, offset_, options_);
    if (!block) return {};
    offset_ = block->end();
    return read_block(*source_, *block, layout);
  }

  // The next blocks, one a channel, joined; a damaged one leaves its trace empty.
  FileRecords next_joined() {
    FileRecords joined;
    FileRecords::One record;
    auto samples = std::make_shared<std::vector<std::shared_ptr<const void>>>();
    for (std::size_t channel = 0; channel < layout_.channels; ++channel) {
      BinaryLayout one = layout_;
      one.channels = 1;
      one.scales = {layout_.scales[channel]};
      FileRecords part = next_one(one);
      std::move(part.problems.begin(), part.problems.end(), std::back_inserter(joined.problems));
      if (part.records.empty()) {
        if (channel == 0) return {};
        refuse(*source_, offset_,
               fmt::format("ends after {} of {} channels' blocks", channel, layout_.channels));
      }
      FileRecords::One& found = part.records.front();
      if (channel == 0) record.trigger = found.trigger;
      record.traces.push_back(found.traces.empty() ? Trace{} : found.traces.front());
      samples->push_back(std::move(found.storage));
    }
    record.storage = std::move(samples);
    joined.records.push_back(std::move(record));
    return joined;
  }

  const ByteSource* source_;
  BlockOptions options_;
  BinaryLayout layout_;
  std::uint64_t offset_ = 0;
};

RecordFile open_file(const ByteSource& source, const BinaryLayout& layout, const Settings& settings) {
  BlockOptions options;
  options.text_before = settings.flag("text_before_block", false);
  options.holds_channel = settings.choice("block_holds", "record", {"record", "channel"}) == "channel";
  settings.finish();
  RecordFile file;
  file.next = [blocks = BlockFile(source, layout, options)](std::size_t) mutable {
    return blocks.next_record();
  };
  return file;
}

}  // namespace

bool starts_as_block(std::span<const std::byte> head) {
  std::string text;
  for (const std::byte byte : head.first(std::min<std::size_t>(head.size(), 11)))
    text += std::to_integer<char>(byte);
  if (text.size() < 2 || text[0] != '#' || !is_digit(text[1])) return false;
  const auto digits = static_cast<std::size_t>(text[1] - '0');
  const std::string_view length = std::string_view(text).substr(2, digits);
  return length.size() == digits && std::all_of(length.begin(), length.end(), is_digit);
}

std::unique_ptr<RecordReader> open_block(std::vector<ByteSource> sources, const Settings& input) {
  return open_with_layout("block", std::move(sources), input, open_file);
}

}  // namespace firstedge
