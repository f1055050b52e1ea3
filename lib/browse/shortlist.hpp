// Shortlist: the few pulses of a kind that a person will look at, chosen as they stream by.
#pragma once

#include <compare>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <set>
#include <vector>

namespace firstedge {

/// Names one pulse of a run.
struct PulseName {
  std::uint64_t record = 0;
  std::uint16_t channel = 0, pulse = 0;
  friend auto operator<=>(const PulseName&, const PulseName&) = default;
};

/// A number in [0, 1) that is as good as random and always the same for the same pulse.
double lot_of(const PulseName& pulse);

/// One pulse, or the two of a pair.
struct Listed {
  PulseName first;
  std::optional<PulseName> second;
  friend auto operator<=>(const Listed&, const Listed&) = default;
};

/// Keeps the entries of the lowest ranks, at most `most` of them, whatever the order in which they come; with
/// lots for ranks that is a fair sample. Entries of one rank go by their names. A NaN rank is not offered.
class Shortlist {
 public:
  explicit Shortlist(std::size_t most) : most_(most) {}

  void offer(double rank, const Listed& entry);
  std::uint64_t offered() const { return offered_; }
  /// Lowest rank first.
  std::vector<Listed> entries() const;

 private:
  struct Ranked {
    double rank = 0;
    Listed entry;
    friend auto operator<=>(const Ranked&, const Ranked&) = default;
  };
  std::size_t most_;
  std::uint64_t offered_ = 0;
  std::set<Ranked> kept_;
};

/// The pulses of all lists, in the order of their names, each once: of every list the first entry, then of
/// every list the second, and so on, as long as there are not more than `most`.
std::vector<PulseName> taken_by_turns(const std::vector<const Shortlist*>& lists, std::size_t most);

}  // namespace firstedge
