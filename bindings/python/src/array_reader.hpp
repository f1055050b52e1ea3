// ArrayReader: traces that Python holds, handed over as the records of a run.
#pragma once

#include "firstedge/io/record_reader.hpp"

#include "traces.hpp"

#include <string>
#include <utility>
#include <vector>

namespace firstedge::python {

/// Record i has trace i of each channel. The arrays must outlive the reader.
class ArrayReader final : public RecordReader {
 public:
  /// Throws Error for no channel, a name given twice, and channels with different numbers of traces.
  explicit ArrayReader(const std::vector<std::pair<std::string, TraceArray>>& channels);

  const RunDescription& description() const override { return description_; }
  RecordBlock next_block(std::size_t max_records) override;
  const ReadingAccount& account() const override { return account_; }

 private:
  std::vector<std::vector<Trace>> traces_;  ///< by channel
  RunDescription description_;
  ReadingAccount account_;
  std::size_t next_ = 0;
};

}  // namespace firstedge::python
