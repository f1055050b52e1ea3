// Records from raw binary files with a JSON layout.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/record_reader.hpp"

#include <memory>
#include <vector>

namespace firstedge {

/// Opens a run of raw binary files: a header, then records of one size. io/binary_layout.hpp says where the
/// layout is looked for and what it tells. Without "samples" a file is one record. Memory depends on the
/// block: at most some 4 million samples are held at a time, or one record. A record cut short at the end of
/// a file is counted bad. Throws Error for a layout that does not fit, or if no record can be read.
std::unique_ptr<RecordReader> open_binary(std::vector<ByteSource> sources, const Settings& input);

}  // namespace firstedge
