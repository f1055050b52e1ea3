#include "firstedge/batch/record_range.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::uint64_t records_at_a_time = 256;

// Exactly floor(count * number / of): the remainder's product stays below most_parts squared.
std::uint64_t share(std::uint64_t count, std::uint64_t number, std::uint64_t of) {
  return count / of * number + count % of * number / of;
}

std::uint64_t index_behind_last(const std::vector<std::filesystem::path>& files, const Setup& setup) {
  const std::unique_ptr<RecordReader> reader = open_records(files, setup.input);
  // Numbers in the names of files may leave gaps, which the count does not know.
  if (const auto count = reader->description().record_count; count && !setup.input.has("pattern"))
    return *count;
  std::uint64_t behind = 0;
  for (RecordBlock block = reader->next_block(records_at_a_time); !block.records.empty();
       block = reader->next_block(records_at_a_time)) {
    behind = block.records.back().index + 1;
  }
  return behind;
}

}  // namespace

RecordRange range_of(const RecordPart& part, const std::vector<std::filesystem::path>& files,
                     const Setup& setup) {
  if (part.number < 1 || part.number > part.of || part.of > most_parts) {
    throw Error(fmt::format("part {}/{}", part.number, part.of), "is not a part",
                fmt::format("give k/K with k from 1 to K and K up to {}", most_parts));
  }
  if (part.of == 1) return {};
  const std::uint64_t behind = index_behind_last(files, setup);
  RecordRange range{.first = share(behind, part.number - 1, part.of)};
  if (part.number < part.of) range.end = share(behind, part.number, part.of);
  return range;
}

RecordRangeReader::RecordRangeReader(const Open& open, const RecordRange& part, std::uint64_t first_left)
    : part_(part) {
  go_to_part(open);
  description_ = reader_->description();
  if (auto& count = description_.record_count)
    count = std::max(std::min(*count, part.end), part.first) - part.first;
  before_ = before_last_read_;
  pass_over(first_left);
  update_account(reader_->account());
}

// Up to the last good record before the part: the bad ones behind that one count for the part. They are found
// by reading a little before it, and more where all of that is bad.
void RecordRangeReader::go_to_part(const Open& open) {
  constexpr std::uint64_t first_try = 64, times_more = 64;
  for (std::uint64_t margin = first_try;; margin *= times_more) {
    const std::uint64_t from = part_.first - std::min(margin, part_.first);
    reader_ = open();
    held_ = {};
    next_index_ = reader_->skip_to(from);
    before_last_read_ = reader_->account();
    pass_over(part_.first);
    if (met_before_ || from == 0) return;
  }
}

// Near the index one record at a time, so that what is bad before it and behind it is counted apart.
RecordBlock RecordRangeReader::read_towards(std::uint64_t index, std::size_t most) {
  constexpr std::uint64_t near = 64;
  const std::uint64_t left = index - next_index_;
  before_last_read_ = reader_->account();
  RecordBlock block = reader_->next_block(std::min<std::uint64_t>(most, left > near ? left - near : 1));
  next_index_ = block.records.empty() ? index : block.records.back().index + 1;
  return block;
}

// Leaves in held_ the records met so far that are not below the index.
void RecordRangeReader::pass_over(std::uint64_t index) {
  const auto drop = [&] {
    const auto kept = std::find_if(held_.records.begin(), held_.records.end(),
                                   [&](const Record& record) { return record.index >= index; });
    const auto counted = std::count_if(held_.records.begin(), kept,
                                       [&](const Record& record) { return record.index >= part_.first; });
    passed_ += static_cast<std::uint64_t>(counted);
    met_before_ = met_before_ || (kept != held_.records.begin() && held_.records.front().index < part_.first);
    held_.records.erase(held_.records.begin(), kept);
  };
  drop();
  while (held_.records.empty() && next_index_ < std::min(index, part_.end)) {
    held_ = read_towards(index, records_at_a_time);
    const bool ended = held_.records.empty();
    drop();
    if (ended) return;
    if (held_.records.empty()) before_last_read_ = reader_->account();
  }
}

RecordBlock RecordRangeReader::first_held(std::size_t most) {
  if (held_.records.size() <= most) return std::exchange(held_, {});
  const auto end = held_.records.begin() + static_cast<std::ptrdiff_t>(most);
  RecordBlock block{.records = {held_.records.begin(), end}, .storage = held_.storage};
  held_.records.erase(held_.records.begin(), end);
  return block;
}

RecordBlock RecordRangeReader::next_block(std::size_t max_records) {
  RecordBlock block = first_held(max_records);
  if (block.records.empty() && next_index_ < part_.end) block = read_towards(part_.end, max_records);
  const bool all_behind = !block.records.empty() && block.records.front().index >= part_.end;
  std::erase_if(block.records, [&](const Record& record) { return record.index >= part_.end; });
  handed_over_ += block.records.size();
  update_account(all_behind ? before_last_read_ : reader_->account());
  return block;
}

void RecordRangeReader::update_account(const ReadingAccount& whole) {
  account_ = whole;
  account_.records_good = passed_ + handed_over_;
  account_.records_bad -= before_.records_bad;
  account_.traces_missing -= before_.traces_missing;
  // A reader tells each kind of problem once: of a kind met before, the sentence is an earlier one's.
  const bool only_old_kinds = account_.problems.size() == before_.problems.size();
  if (only_old_kinds && account_.records_bad + account_.traces_missing > 0) return;
  account_.problems.erase(account_.problems.begin(),
                          account_.problems.begin() + static_cast<std::ptrdiff_t>(before_.problems.size()));
}

}  // namespace firstedge
