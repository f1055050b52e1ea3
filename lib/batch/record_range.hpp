// Shares of a run: which records are part k of K, and a reader of those alone.
#pragma once

#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <limits>
#include <memory>
#include <vector>

namespace firstedge {

/// Records with first <= index < end.
struct RecordRange {
  std::uint64_t first = 0;
  std::uint64_t end = std::numeric_limits<std::uint64_t>::max();
};

/// Part k of K, k from 1 to K: neighbouring records, the parts one after the other.
struct RecordPart {
  std::uint64_t number = 1, of = 1;
};

inline constexpr std::uint64_t most_parts = 1'000'000;

/// With N the index behind the run's last record, those from floor(N (k-1)/K) on, up to where the next part
/// begins; the last part goes on to the end of the run. A function of the files and the Setup's input group
/// alone; where these do not tell N at once, the run is read through to count. Throws Error for a part that
/// is not from 1 to K, or for more than most_parts.
RecordRange range_of(const RecordPart& part, const std::vector<std::filesystem::path>& files,
                     const Setup& setup);

/// Reads a part, or what is left of it. Records before the part are passed over, unread where the format
/// allows; those of the part before first_left are read.
class RecordRangeReader final : public RecordReader {
 public:
  /// Opens the whole run, or hands over a reader that stands at its start.
  using Open = std::function<std::shared_ptr<RecordReader>()>;

  /// Hands over the records of `part` from the index `first_left` on.
  RecordRangeReader(const Open& open, const RecordRange& part, std::uint64_t first_left);

  /// How many good records of the part stand before first_left.
  std::uint64_t passed() const { return passed_; }

  /// Of the part: record_count too.
  const RunDescription& description() const override { return description_; }
  RecordBlock next_block(std::size_t max_records) override;
  /// Of the part, those before first_left included. A bad record counts for the part of the good one behind
  /// it, at the end of the run for the last part.
  const ReadingAccount& account() const override { return account_; }
  std::optional<double> share_read() const override { return reader_->share_read(); }

 private:
  void go_to_part(const Open& open);
  RecordBlock read_towards(std::uint64_t index, std::size_t most);
  void pass_over(std::uint64_t index);
  RecordBlock first_held(std::size_t most);
  void update_account(const ReadingAccount& whole);

  std::shared_ptr<RecordReader> reader_;
  RecordRange part_;
  RunDescription description_;
  ReadingAccount before_, account_;  // of the records before the part, of the part
  ReadingAccount before_last_read_;  // of the reader
  RecordBlock held_;                 // read, and to be handed over next
  std::uint64_t next_index_ = 0;     // none below it will come
  bool met_before_ = false;          // a good record before the part
  std::uint64_t passed_ = 0, handed_over_ = 0;
};

}  // namespace firstedge
