// Records from arbitrary blocks of IEEE Std 488.2, the way instruments send binary data.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/record_reader.hpp"

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace firstedge {

/// True if the bytes start with a whole block header: '#', a digit, and as many digits as it says.
bool starts_as_block(std::span<const std::byte> head);

/// Opens a run of files of blocks, one block after the other. Source: IEEE Std 488.2-1992, 8.7.9 (definite
/// length:
/// '#', a digit 1 to 9, so many digits of length, so many bytes) and 8.7.10 (indefinite length: '#0', bytes,
/// a line feed that ends the message: here the last byte of the file). Spaces, line ends, commas and
/// semicolons between blocks are passed over.
///
/// io/binary_layout.hpp says where the layout is looked for and what it tells; record header and footer stand
/// inside the block. Two more names:
/// - "block_holds": "record" (usual), or "channel": as many blocks as there are channels make a record.
/// - "text_before_block": true if text may stand before the '#' of a block (at most 65,536 bytes; it is
/// passed over).
///
/// Without "samples" each block's length tells them. A block of another length than the layout's is one bad
/// record; a block that cannot be followed (no '#', digits missing, longer than the file) ends the file and
/// is one bad record. An indefinite block must end with a line feed, unless "samples" tells that it is whole.
/// The number of records is not known before all are read. Throws Error for a layout that does not fit, or if
/// no file starts with a block.
std::unique_ptr<RecordReader> open_block(std::vector<ByteSource> sources, const Settings& input);

}  // namespace firstedge
