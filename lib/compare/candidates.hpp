// Candidates: methods with settings that time the same pulses, and the times that each gave.
#pragma once

#include "firstedge/core/stamp.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// A setting that a scan varies.
enum class ScanAxis : std::uint8_t { fraction, threshold, delay, cut };
inline constexpr std::array<ScanAxis, 4> scan_axes{ScanAxis::fraction, ScanAxis::threshold, ScanAxis::delay,
                                                   ScanAxis::cut};

/// A method with its settings, the same on every channel. Settings that depend on the pulse are given as
/// shares of the channel's own: what is best on a slow, high pulse is not what is best on a fast, low one. A
/// setting that the method does not have is NaN.
struct Candidate {
  std::string method;            ///< "constant_fraction"
  std::string walk;              ///< of a leading edge: what tells its walk correction; empty without one
  double fraction = not_known;   ///< of the height
  double threshold = not_known;  ///< over the channel's median height
  double delay = not_known;      ///< over the channel's median 10-90 % transition duration
  /// Corner of the low-pass filter before everything, over the channel's band of 0.35 per transition
  /// duration; infinite without a filter.
  double cut = std::numeric_limits<double>::infinity();
  std::vector<std::string> settings;  ///< for people, by channel, with units

  bool filtered() const { return cut < std::numeric_limits<double>::infinity(); }
  double setting(ScanAxis axis) const;
};

/// The method with its walk correction, if it has one: "leading_edge, walk by height".
std::string kind_of(const Candidate& candidate);

/// "constant_fraction 0.3, cut 1.5".
std::string name_of(const Candidate& candidate);

/// "low-pass corner" and what it is a share of, for axes of plots and heads of tables.
std::string_view label_of(ScanAxis axis);

/// Whether two candidates differ in nothing but this setting (they may be equal in it too).
bool differ_only_in(ScanAxis axis, const Candidate& a, const Candidate& b);

/// The times of one channel by one candidate, a row a record; NaN where the pulse is not to be used.
struct CandidateColumn {
  std::vector<double> time_s, uncertainty_s;
  std::uint64_t usable = 0, flagged = 0, no_time = 0;      ///< together: records with a pulse
  std::array<std::uint64_t, flag_table.size()> by_flag{};  ///< among flagged; one stamp may count in several
};

/// What is known of the pulses of a channel whatever the method, a row a record; NaN where not known. From
/// one candidate's stamps, clipped and flagged ones too.
struct PulseRows {
  std::vector<double> height_v, transition_s, bound_s;
  std::vector<FlagSet> flags;
};

/// The times of the first pulse of each record by every candidate: 16 bytes a record, channel and candidate.
class CandidateStamps {
 public:
  /// Throws Error for fewer than two channels, no candidate, or more than 65,536 of both together.
  CandidateStamps(std::vector<std::string> channels, std::vector<Candidate> candidates,
                  FlagSet allowed_flags);

  /// The row of the next record of a pass over the run; every pass gives the same records in the same order.
  /// Throws Error where it does not.
  void expect(std::size_t row, std::uint64_t record);
  /// Takes a stamp in: usable with a time and no flag but the allowed ones.
  void set(std::size_t row, std::size_t channel, std::size_t candidate, const Stamp& stamp);
  /// Takes what is known of the pulse of a row.
  void set_pulse(std::size_t row, std::size_t channel, const Stamp& stamp);

  const std::vector<std::string>& channels() const { return channels_; }
  const std::vector<Candidate>& candidates() const { return candidates_; }
  const std::vector<std::uint64_t>& records() const { return records_; }
  const CandidateColumn& column(std::size_t channel, std::size_t candidate) const {
    return columns_[channel * candidates_.size() + candidate];
  }
  const PulseRows& pulses(std::size_t channel) const { return pulses_[channel]; }
  FlagSet allowed_flags() const { return allowed_; }

 private:
  std::vector<std::string> channels_;
  std::vector<Candidate> candidates_;
  FlagSet allowed_;
  std::vector<std::uint64_t> records_;
  std::vector<CandidateColumn> columns_;
  std::vector<PulseRows> pulses_;
};

/// Which half of the run a record is in: choosing (true) or judging. By one bit of the record number's hash
/// and not by its parity, so that nothing that alternates or repeats along a run (a trigger, a mains phase, a
/// bunch pattern) falls into one half; a record's half does not depend on how many there are.
bool is_for_choosing(std::uint64_t record);

}  // namespace firstedge
