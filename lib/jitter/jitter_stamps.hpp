// JitterStamps: the columns of a stamp table that the jitter analysis needs, gathered block by block.
#pragma once

#include "firstedge/core/instant.hpp"
#include "firstedge/core/stamp.hpp"

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Stamps of one channel by one method: the first pulse of each record, in rising order of records.
struct StampColumn {
  std::vector<std::uint64_t> record;
  std::vector<double> time_s, uncertainty_s, bound_s, height_v;
  std::vector<FlagSet> flags;

  std::size_t size() const { return record.size(); }
};

/// The trigger instant of a record, for runs that have them.
struct RecordInstant {
  std::uint64_t record = 0;
  Instant instant;
};

/// All stamps of a run by channel and method; 48 bytes a stamp. Later pulses of a trace and second stamps of
/// the same pulse are counted, not kept.
class JitterStamps {
 public:
  /// Names by position, as in the head of the stamp table. Throws Error for no channel, no method, a name
  /// that is there twice, or more than 65,536 columns.
  JitterStamps(std::vector<std::string> channels, std::vector<std::string> methods);

  /// Throws Error for a stamp whose channel or method has no name.
  void add(std::span<const Stamp> stamps);
  void add_trigger(const RecordInstant& trigger) { triggers_.push_back(trigger); }
  /// Puts columns and triggers in order of records; called by analyse_jitter, needs nobody else.
  void settle();

  const std::vector<std::string>& channels() const { return channels_; }
  const std::vector<std::string>& methods() const { return methods_; }
  const StampColumn& column(std::size_t channel, std::size_t method) const {
    return columns_[method * channels_.size() + channel];
  }
  /// One a record at most: of several the first.
  const std::vector<RecordInstant>& triggers() const { return triggers_; }
  std::uint64_t later_pulses() const { return later_pulses_; }
  std::uint64_t repeated() const { return repeated_; }

 private:
  std::vector<std::string> channels_, methods_;
  std::vector<StampColumn> columns_;
  std::vector<RecordInstant> triggers_;
  std::uint64_t later_pulses_ = 0, repeated_ = 0;
};

}  // namespace firstedge
