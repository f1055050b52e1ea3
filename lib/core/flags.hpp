// The reasons to distrust a stamp, in one table: bit, name, sentence.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

namespace firstedge {

/// One reason to distrust a Stamp. The numeric values are part of the stamp table's file layout: never reuse
/// one.
enum class Flag : std::uint32_t {
  clipped = 1U << 0,
  piled_up = 1U << 1,
  no_baseline = 1U << 2,
  edge_of_record = 1U << 3,
  low_signal = 1U << 4,
  poor_fit = 1U << 5,
  not_timed = 1U << 6,
  undersampled = 1U << 7,
  missing_channel = 1U << 8,
  unresolved = 1U << 9,
  calibration_expired = 1U << 10,
  unsteady_baseline = 1U << 11,
  coarse_counts = 1U << 12,
};

struct FlagWords {
  Flag flag;
  std::string_view name;
  std::string_view sentence;
};

/// The one table of flags; messages, documents, pages and bindings are made from it.
inline constexpr std::array<FlagWords, 13> flag_table{{
    {Flag::clipped, "clipped", "samples of the pulse stand at the digitizer's limit"},
    {Flag::piled_up, "piled_up", "another pulse overlaps the stretch used for the time"},
    {Flag::no_baseline, "no_baseline", "no undisturbed stretch to take the baseline from"},
    {Flag::edge_of_record, "edge_of_record", "the stretch used for the time reaches the end of the record"},
    {Flag::low_signal, "low_signal", "the pulse is too low over the noise for its uncertainty to hold"},
    {Flag::poor_fit, "poor_fit", "the pulse does not have the expected shape within the noise"},
    {Flag::not_timed, "not_timed", "the method found no time in this pulse"},
    {Flag::undersampled, "undersampled", "the edge has too few samples for its uncertainty to hold"},
    {Flag::missing_channel, "missing_channel", "the record has no trace of this channel"},
    {Flag::unresolved, "unresolved", "it looks like two pulses too near to one another to be told apart"},
    {Flag::calibration_expired, "calibration_expired",
     "a delay of its chain had no calibration valid at its date"},
    {Flag::unsteady_baseline, "unsteady_baseline",
     "the trace in front of the pulse does not rest on its baseline"},
    {Flag::coarse_counts, "coarse_counts",
     "the noise is too small against one count for the uncertainty to hold"},
}};

/// A set of flags; the empty set means nothing speaks against the stamp.
class FlagSet {
 public:
  constexpr FlagSet() = default;
  constexpr FlagSet(Flag flag)
      : bits_(static_cast<std::uint32_t>(flag)) {}  // NOLINT(google-explicit-constructor)
  static constexpr FlagSet from_bits(std::uint32_t bits) {
    FlagSet set;
    set.bits_ = bits;
    return set;
  }
  constexpr std::uint32_t bits() const { return bits_; }
  constexpr bool empty() const { return bits_ == 0; }
  constexpr bool has(Flag flag) const { return (bits_ & static_cast<std::uint32_t>(flag)) != 0; }
  constexpr FlagSet without(FlagSet other) const { return from_bits(bits_ & ~other.bits_); }
  constexpr bool has_any(FlagSet other) const { return (bits_ & other.bits_) != 0; }
  constexpr FlagSet& operator|=(FlagSet other) {
    bits_ |= other.bits_;
    return *this;
  }
  friend constexpr FlagSet operator|(FlagSet a, FlagSet b) { return a |= b; }
  friend constexpr bool operator==(FlagSet, FlagSet) = default;

 private:
  std::uint32_t bits_ = 0;
};

constexpr FlagSet operator|(Flag a, Flag b) {
  return FlagSet(a) | FlagSet(b);
}

/// Doubts about a stamp's uncertainty alone: its time stands, and what needs times only need not refuse it.
inline constexpr FlagSet doubts_of_uncertainty{Flag::coarse_counts};

/// Names of the flags in the set joined by '+', or "" for the empty set; unknown bits are named "bit<n>".
std::string to_text(FlagSet flags);

}  // namespace firstedge
