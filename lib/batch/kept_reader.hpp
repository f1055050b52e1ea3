// KeptReader: a reader whose first records are read once and used twice, for learning and then for the run.
#pragma once

#include "firstedge/io/record_reader.hpp"

#include <cstddef>
#include <deque>
#include <memory>
#include <optional>

namespace firstedge {

/// Hands over what another reader does and keeps it until begin_again(); then the same blocks come once more,
/// cut to the size asked for, and what is behind them. Memory: that of the blocks handed over before.
class KeptReader final : public RecordReader {
 public:
  explicit KeptReader(std::unique_ptr<RecordReader> reader);

  /// To be called once. From then on nothing is kept.
  void begin_again();

  const RunDescription& description() const override { return reader_->description(); }
  RecordBlock next_block(std::size_t max_records) override;
  std::uint64_t skip_to(std::uint64_t index) override;
  /// As it was when the block was read.
  const ReadingAccount& account() const override { return told_ ? told_->account : reader_->account(); }
  std::optional<double> share_read() const override {
    return told_ ? told_->share_read : reader_->share_read();
  }

 private:
  // What the reader tells.
  struct Told {
    ReadingAccount account;
    std::optional<double> share_read;
  };
  struct Kept {
    RecordBlock block;
    Told behind;
  };
  Told told_by_reader() const { return {reader_->account(), reader_->share_read()}; }

  std::unique_ptr<RecordReader> reader_;
  bool keeps_ = true;
  Told at_start_;
  std::deque<Kept> kept_;
  std::optional<Told> told_;  // while kept blocks come
};

}  // namespace firstedge
