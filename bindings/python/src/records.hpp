// Blocks of records as Python holds them.
#pragma once

#include "firstedge/core/record.hpp"

#include "traces.hpp"

#include <memory>
#include <string>
#include <vector>

namespace firstedge::python {

using ChannelNames = std::vector<std::string>;

/// A block of a run and the names of its channels, in the order of Record::traces.
struct Block {
  RecordBlock block;
  std::shared_ptr<const ChannelNames> channels;

  /// Throws Error for a name that is not there.
  std::size_t number_of(const std::string& channel) const;
};

/// All traces of one channel, records without one left out.
TraceArray block_of_channel(const Block& block, const std::string& channel);

}  // namespace firstedge::python
