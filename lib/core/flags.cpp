#include "firstedge/core/flags.hpp"

namespace firstedge {

std::string to_text(FlagSet flags) {
  std::string text;
  std::uint32_t left = flags.bits();
  const auto add = [&text](std::string_view name) { text.append(text.empty() ? "" : "+").append(name); };
  for (const FlagWords& row : flag_table) {
    if (flags.has(row.flag)) add(row.name);
    left &= ~static_cast<std::uint32_t>(row.flag);
  }
  for (unsigned bit = 0; left != 0; ++bit, left >>= 1U) {
    if ((left & 1U) != 0) add("bit" + std::to_string(bit));
  }
  return text;
}

}  // namespace firstedge
