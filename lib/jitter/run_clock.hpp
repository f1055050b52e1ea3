// RunClock: where the records of a run lie, in time by their triggers' Instants, or else by their numbers.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/jitter/jitter_stamps.hpp"
#include "firstedge/jitter/pairs.hpp"

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// Places of records along the run: seconds from the first trigger, or record numbers.
///
/// Instants are taken when they are all on one scale, do not run backwards with the records, span some time,
/// and stand beside at least nine in ten records of each pair; otherwise records are taken as evenly spaced,
/// and refusal() says why where there are instants. UTC leap seconds inside a run are not counted.
class RunClock {
 public:
  /// The samples tell which records count.
  RunClock(const JitterStamps& stamps, std::span<const PairSample> samples);

  bool by_time() const { return by_time_; }
  const std::string& refusal() const { return refusal_; }

  /// Place of a record; NaN where the clock goes by time and it has no instant.
  double place(std::uint64_t record) const;
  /// "record 512", or "2026-11-25T06:37:12 UTC".
  std::string words_of_place(double place) const;
  /// A stretch of the run: "(512 ± 8) records", "(360.0 ± 2.0) s".
  std::string words_of_length(const Estimate& length) const;
  /// "s", or "" for records.
  const char* unit() const { return by_time_ ? "s" : ""; }

 private:
  std::vector<std::uint64_t> record_;  // with an instant, rising
  std::vector<double> time_s_;
  Instant begin_;
  std::string refusal_;
  bool by_time_ = false;
};

}  // namespace firstedge
