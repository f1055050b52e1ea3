// Suspects: which chain is off, and which overlooked change of one element would explain it.
#pragma once

#include "firstedge/agree/comparison.hpp"

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// What may have been overlooked of an element, the likelier first.
enum class Change : std::uint8_t { not_in_path, not_in_chain, passed_twice };

/// "in the chain, but not in the path" and so on.
std::string_view to_text(Change change);

struct Suspect {
  std::string chain;  ///< name of the list
  std::string element;
  Change change = Change::not_in_path;
  Estimate left_s;  ///< what would be left of the offset, with its combined standard uncertainty
  double pull = 0;  ///< |left| over it

  bool explains() const { return pull <= most_pull; }
  static constexpr double most_pull = 2;
};

/// Every change of one element of the way's chains: in the chain and not in the path, passed twice, and
/// (spare elements) in the path and not in the chain. First what explains, the likelier changes before the
/// others, then by pull. shared: terms that the offset does not rest on, since they cancelled: they are
/// passed over.
std::vector<Suspect> suspects_of(const Estimate& offset_s, const Way& way,
                                 std::span<const DelayTerm> shared = {});

/// Chains that every way that is off goes through, and no way that agrees: by the names of the lists. Empty
/// where nothing is off, nothing agrees, or no chain fits.
std::vector<std::string> chains_pointed_at(std::span<const WayComparison> ways);

/// What is most likely wrong.
struct Suspicion {
  std::vector<std::string> chains;  ///< as chains_pointed_at
  std::string tried_on;             ///< for people: the difference that the changes are tried on
  Estimate offset_s;                ///< that difference
  std::vector<Suspect> suspects;    ///< those of the chains pointed at first
};

/// ways and compared: the same ways, one beside the other. Changes are tried on the offset that is known
/// best: of the way that is most off; or, where chains are pointed at, of a way that is off less one that
/// agrees, since what both share cancels. Empty where all agree.
Suspicion suspicion_of(std::span<const Way> ways, std::span<const WayComparison> compared);

}  // namespace firstedge
