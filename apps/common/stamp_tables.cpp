#include "common/stamp_tables.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>

namespace firstedge {

Setup setup_for(const std::filesystem::path& given, const std::filesystem::path& table,
                const StampTableHead& head) {
  if (!given.empty()) return read_setup(given);
  if (head.provenance.setup.empty()) return default_setup();
  return parse_setup(head.provenance.setup, table.string() + ", the setup inside");
}

FlagSet flags_named(const std::vector<std::string>& names) {
  FlagSet flags;
  for (const std::string& name : names) {
    const auto row = std::find_if(flag_table.begin(), flag_table.end(),
                                  [&](const FlagWords& words) { return words.name == name; });
    if (row == flag_table.end()) {
      std::string known;
      for (const FlagWords& words : flag_table) known.append(known.empty() ? "" : ", ").append(words.name);
      throw Error("flag '" + name + "'", "is not a flag", "the flags are " + known);
    }
    flags |= row->flag;
  }
  return flags;
}

std::pair<std::string, std::string> pair_named(const std::string& text) {
  const std::size_t comma = text.find(',');
  if (comma == std::string::npos)
    throw Error("--pair " + text, "has no comma", "name two channels: first,second");
  return {text.substr(0, comma), text.substr(comma + 1)};
}

}  // namespace firstedge
