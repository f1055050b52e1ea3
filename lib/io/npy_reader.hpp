// Records from NumPy .npy files.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/record_reader.hpp"

#include <memory>
#include <vector>

namespace firstedge {

/// Opens a run of .npy files (io/npy_header.hpp says which). An array holds records of evenly spaced samples;
/// counts are handed over byte-exact (uint32 as the equal double).
///
/// Settings of the input group:
/// - "axes": what the axes mean, in the order of the shape, a list of "record", "channel" and "sample";
/// usual, by
///   their number: ["sample"], ["record", "sample"], ["record", "channel", "sample"].
/// - "interval" and the rest of the scale: io/binary_scale.hpp. "interval" must be given.
/// - "channels": names; "pattern": one file a channel, or files by record number (io/file_pattern.hpp).
/// Without a
///   pattern several files follow each other in the order given.
///
/// Memory depends on the block: at most some 4 million samples are held at a time, or one record. An array
/// cut short gives its whole records if "record" is its slowest axis; the others are counted bad. Bytes after
/// the array are told. Samples that are NaN are kept (they count as clipped). Throws Error for settings that
/// do not fit, or if no record can be read.
std::unique_ptr<RecordReader> open_npy(std::vector<ByteSource> sources, const Settings& input);

}  // namespace firstedge
