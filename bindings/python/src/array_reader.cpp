#include "array_reader.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace firstedge::python {

ArrayReader::ArrayReader(const std::vector<std::pair<std::string, TraceArray>>& channels) {
  if (channels.empty()) throw Error("traces", "no channel is given", "give at least one");
  description_.format = "array";
  for (const auto& [name, array] : channels) {
    if (std::find(description_.channels.begin(), description_.channels.end(), name) !=
        description_.channels.end())
      throw Error(fmt::format("channel '{}'", name), "is given twice", "give each channel once");
    if (array.traces.size() != channels.front().second.traces.size())
      throw Error(fmt::format("channel '{}'", name),
                  fmt::format("has {} records, the first channel {}", array.traces.size(),
                              channels.front().second.traces.size()),
                  "give the same records of all");
    description_.channels.push_back(name);
    traces_.push_back(array.traces);
  }
  description_.record_count = traces_.front().size();
}

RecordBlock ArrayReader::next_block(std::size_t max_records) {
  RecordBlock block;
  const std::size_t end = std::min(traces_.front().size(), next_ + max_records);
  for (; next_ < end; ++next_) {
    Record& record = block.records.emplace_back();
    record.index = next_;
    for (const auto& of_channel : traces_) record.traces.push_back(of_channel[next_]);
  }
  account_.records_good = next_;
  return block;
}

}  // namespace firstedge::python
