// The JSON layout that tells what the bytes of a raw binary file, or of an IEEE 488.2 block, mean.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/io/binary_samples.hpp"
#include "firstedge/io/binary_scale.hpp"
#include "firstedge/io/binary_time_stamp.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/file_run.hpp"
#include "firstedge/io/record_reader.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// What a layout says. A record is header, samples of all channels, footer.
///
/// JSON names: "file_header_bytes", "record_header_bytes", "record_footer_bytes" (0 if absent), "sample_type"
/// ("int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"), "byte_order" ("little" |
/// "big"; needed for types of more than one byte), "channels" (names in the order of the file; absent: one
/// channel), "interleaving" ("by_channel": all samples of the first channel, then of the next | "by_sample":
/// one sample of each channel in turn; needed for more than one channel), "samples" (of each channel in a
/// record; absent: as many as there are), "time_stamp" (io/binary_time_stamp.hpp), and the scale
/// (io/binary_scale.hpp).
struct BinaryLayout {
  std::uint64_t file_header_bytes = 0;
  std::size_t record_header_bytes = 0;
  std::size_t record_footer_bytes = 0;
  SampleCoding coding;
  bool by_sample = false;
  std::size_t channels = 1;
  std::optional<std::size_t> samples;
  std::vector<ChannelScale> scales;  ///< one a channel
  std::optional<TimeStampLayout> time_stamp;

  /// Bytes of a record with so many samples a channel.
  std::uint64_t record_bytes(std::uint64_t samples_in_record) const;
  /// Samples a channel that fit into a record of so many bytes, and whether they fill it exactly.
  struct Fit {
    std::uint64_t samples = 0;
    bool exact = false;
  };
  Fit fit(std::uint64_t bytes_in_record) const;
};

/// True if there is a layout beside a data file under the name it is looked for: FILE.json beside FILE.
bool has_layout_beside(const std::filesystem::path& file);

/// Reads the names above for a file of so many channels, with the scales of channels [first_channel,
/// first_channel + channels) out of run_channels. Throws Error at the group for what is missing, wrong or
/// larger than any record (most_record_bytes). Names left over are the caller's to refuse.
BinaryLayout binary_layout(const Settings& settings, std::size_t channels, std::size_t run_channels,
                           std::size_t first_channel);

/// The records in a piece of a file that holds so many whole ones, each with so many samples a channel. A
/// time stamp that is not a date becomes a problem, and the record is kept without one.
FileRecords decode_records(std::span<const std::byte> bytes, const BinaryLayout& layout, std::size_t records,
                           std::size_t samples, const std::string& place);

/// How one file of a format is opened, once its layout is known.
using OpenWithLayout = RecordFile (*)(const ByteSource& source, const BinaryLayout& layout,
                                      const Settings& settings);

/// Opens a run of files that have layouts. The layout is the input group itself if it has "sample_type", the
/// JSON file it names in "layout" (a relative name is looked for beside the first data file), or else, for
/// each data file, FILE.json beside FILE. "pattern" as in io/file_pattern.hpp. Throws Error if there is no
/// layout, it is wrong, or no record can be read.
std::unique_ptr<RecordReader> open_with_layout(const std::string& format, std::vector<ByteSource> sources,
                                               const Settings& input, OpenWithLayout open);

}  // namespace firstedge
