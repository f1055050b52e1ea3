#include "firstedge/browse/shortlist.hpp"

#include "firstedge/stats/seeds.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {

double lot_of(const PulseName& pulse) {
  constexpr std::uint64_t seed = 1;
  const std::uint64_t bits =
      mixed_seed(mixed_seed(mixed_seed(seed, pulse.record), pulse.channel), pulse.pulse);
  return std::ldexp(static_cast<double>(bits >> 11U), -53);  // the 53 bits of a double's mantissa
}

void Shortlist::offer(double rank, const Listed& entry) {
  if (std::isnan(rank)) return;
  ++offered_;
  const Ranked ranked{rank, entry};
  if (kept_.size() == most_ && (most_ == 0 || *kept_.rbegin() < ranked)) return;
  kept_.insert(ranked);
  if (kept_.size() > most_) kept_.erase(std::prev(kept_.end()));
}

std::vector<Listed> Shortlist::entries() const {
  std::vector<Listed> entries;
  for (const Ranked& one : kept_) entries.push_back(one.entry);
  return entries;
}

std::vector<PulseName> taken_by_turns(const std::vector<const Shortlist*>& lists, std::size_t most) {
  std::vector<std::vector<Listed>> entries;
  std::size_t longest = 0;
  for (const Shortlist* list : lists) {
    entries.push_back(list->entries());
    longest = std::max(longest, entries.back().size());
  }
  std::set<PulseName> taken;
  for (std::size_t turn = 0; turn < longest; ++turn) {
    for (const std::vector<Listed>& list : entries) {
      if (turn >= list.size()) continue;
      std::set<PulseName> more{list[turn].first};
      if (list[turn].second) more.insert(*list[turn].second);
      std::erase_if(more, [&](const PulseName& name) { return taken.contains(name); });
      if (taken.size() + more.size() > most) return {taken.begin(), taken.end()};
      taken.merge(more);
    }
  }
  return {taken.begin(), taken.end()};
}

}  // namespace firstedge
