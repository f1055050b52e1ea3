// Record and RecordBlock: one trigger's data, and the batch of them that a reader hands over at a time.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/core/trace.hpp"

#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

namespace firstedge {

/// One trigger's data. traces has one entry a channel of the run, in the run's channel order; an empty Trace
/// stands for a channel missing from this record. index counts records from 0 over the whole run, missing or
/// bad ones included, so that it names the same record whatever else was readable. file is the index of the
/// file it came from.
struct Record {
  std::uint64_t index = 0;
  std::uint32_t file = 0;
  std::optional<Instant> trigger;
  std::vector<Trace> traces;
};

/// Records in order, and the memory that their traces look into. Copies share that memory.
struct RecordBlock {
  std::vector<Record> records;
  std::vector<std::shared_ptr<const void>> storage;
};

}  // namespace firstedge
