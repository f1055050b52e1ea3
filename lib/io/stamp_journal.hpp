// The stamp journal: the finished blocks of a run that is under way, kept beside its table so that a run
// that was stopped goes on where it was.
#pragma once

#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace firstedge {

class LockedFile;

/// What a journal belongs to, as pairs of a name for people ("inputs") and a text: it is gone on with only
/// where all are the same, in the same order.
using JournalFacts = std::vector<std::pair<std::string, std::string>>;

/// What stamps of a journal may name.
struct JournalLimits {
  std::size_t channels = 0, methods = 0;
};

/// The stamps of some records that follow one another.
struct JournalBlock {
  std::uint64_t records = 0;      ///< how many
  std::uint64_t next_record = 0;  ///< the index behind the last of them: all before it is in the journal
  std::vector<Stamp> stamps;
  std::vector<TriggerRow> triggers;
};

/// A file to which blocks are appended, layout "firstedge stamp journal 1" (docs/file-layouts.md): a head
/// with the facts, then blocks and notes, each with its length and a SHA-256 chained to the one before it.
/// What was appended stands when the program is killed at once, and when the machine stops after some
/// seconds.
///
/// A file that exists is believed as far as it can be: from the first block that is torn, does not fit its
/// digest, or names records, channels or methods that cannot be, everything is dropped. One with another
/// head begins anew. Memory: one block. The file is locked while the object lives; without a block, it is
/// deleted at the end.
class StampJournal {
 public:
  /// Opens or creates it. Throws Error where another process has it, or it cannot be written.
  StampJournal(const std::filesystem::path& file, const JournalFacts& facts, const JournalLimits& limits);
  ~StampJournal();
  StampJournal(const StampJournal&) = delete;
  StampJournal& operator=(const StampJournal&) = delete;

  /// Of a journal that begun anew, which fact of the one found there differs ("inputs"); "" for all others.
  const std::string& differing_fact() const { return differing_fact_; }
  const std::filesystem::path& file() const;
  std::uint64_t records() const { return end_.records; }
  std::uint64_t next_record() const { return end_.next_record; }
  /// What was met while reading, once the run has come to its end.
  const std::optional<ReadingAccount>& account() const { return account_; }

  /// Hands the blocks over, in order. Throws Error if the file has changed meanwhile.
  void replay(const std::function<void(const JournalBlock&)>& call) const;

  /// A text that was noted under this name, the last one; nothing without.
  std::optional<std::string> noted(const std::string& name) const;
  /// Notes a text of at most 64 KiB. Throws Error where the disk is full.
  void note(const std::string& name, const std::string& text);

  /// Throws Error where the disk is full; what was appended before is kept.
  void append(std::uint64_t records, std::uint64_t next_record, std::span<const Stamp> stamps,
              std::span<const TriggerRow> triggers);
  /// Nothing is appended after this.
  void end(const ReadingAccount& account);
  /// Drops all blocks and notes.
  void begin_anew();
  /// Deletes the file.
  void remove();

 private:
  // Where a block ends, and what stands before.
  struct End {
    std::uint64_t offset = 0, records = 0, next_record = 0;
    std::string digest;
  };
  struct Found {
    std::optional<JournalBlock> block;
    std::optional<ReadingAccount> account;
    std::optional<std::pair<std::string, std::string>> note;
    End end;
  };

  void read_what_stands();
  std::optional<Found> block_after(const End& end) const;
  void append_block(std::span<const std::byte> prefix, std::span<const std::byte> payload);

  std::string head_;
  JournalLimits limits_;
  std::unique_ptr<LockedFile> file_;
  std::string differing_fact_;
  End first_, end_;  // behind the head, behind the last block
  std::optional<ReadingAccount> account_;
  std::map<std::string, std::string> notes_;
  std::uint64_t unsettled_bytes_ = 0;
  std::int64_t settled_at_ns_ = 0;
};

}  // namespace firstedge
