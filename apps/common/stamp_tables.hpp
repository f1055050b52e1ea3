// Reading stamp tables into what an analysis gathers.
#pragma once

#include "firstedge/io/setup.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace firstedge {

inline std::vector<std::string> channel_names(const StampTableHead& head) {
  std::vector<std::string> names;
  for (const StampTableHead::Channel& channel : head.channels) names.push_back(channel.name);
  return names;
}

inline std::vector<std::string> method_names(const StampTableHead& head) {
  std::vector<std::string> names;
  for (const StampTableHead::Method& method : head.methods) names.push_back(method.name);
  return names;
}

/// Hands every stamp of the table over, block by block, to gatherer.add(span of stamps).
template <class Gatherer>
void gather(StampTableReader& table, Gatherer& gatherer) {
  constexpr std::size_t block_size = 65536;
  for (std::vector<Stamp> block = table.next_block(block_size); !block.empty();
       block = table.next_block(block_size)) {
    gatherer.add(block);
  }
}

/// The Setup to read the records of a table's run with: the file given; without one, that which the table was
/// made with; without that, the default.
Setup setup_for(const std::filesystem::path& given, const std::filesystem::path& table,
                const StampTableHead& head);

/// The flags named, joined; throws Error for a name that is none.
FlagSet flags_named(const std::vector<std::string>& names);

/// The two names of a pair given as "first,second"; throws Error without a comma.
std::pair<std::string, std::string> pair_named(const std::string& text);

}  // namespace firstedge
