#include "firstedge/batch/kept_reader.hpp"

#include <utility>

namespace firstedge {

KeptReader::KeptReader(std::unique_ptr<RecordReader> reader)
    : reader_(std::move(reader)), at_start_(told_by_reader()) {}

void KeptReader::begin_again() {
  keeps_ = false;
  told_ = at_start_;
}

RecordBlock KeptReader::next_block(std::size_t max_records) {
  if (keeps_) {
    RecordBlock block = reader_->next_block(max_records);
    kept_.push_back({block, told_by_reader()});
    return block;
  }
  if (kept_.empty()) {
    told_.reset();
    return reader_->next_block(max_records);
  }
  RecordBlock& first = kept_.front().block;
  if (first.records.size() > max_records) {  // what is told stays behind until the whole block is out
    const auto end = first.records.begin() + static_cast<std::ptrdiff_t>(max_records);
    RecordBlock block{.records = {first.records.begin(), end}, .storage = first.storage};
    first.records.erase(first.records.begin(), end);
    return block;
  }
  Kept whole = std::move(kept_.front());
  kept_.pop_front();
  told_ = std::move(whole.behind);
  return std::move(whole.block);
}

std::uint64_t KeptReader::skip_to(std::uint64_t index) {
  return keeps_ && kept_.empty() ? reader_->skip_to(index) : 0;
}

}  // namespace firstedge
