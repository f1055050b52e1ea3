#include "firstedge/batch/merged_parts.hpp"

#include "firstedge/core/error.hpp"

#include <fmt/format.h>

namespace firstedge {

Result merging_result(const MergedTable& merged, const std::filesystem::path& table) {
  const auto whole = [](std::uint64_t number) { return Estimate{.value = static_cast<double>(number)}; };
  return {.kind = "merging",
          .title = "The parts of a run put together",
          .answer = fmt::format("{} stamps from {} parts in {}.", merged.stamps, merged.parts,
                                printable(table.string())),
          .figures = {{"parts", "Parts", whole(merged.parts), ""},
                      {"stamps", "Stamps", whole(merged.stamps), ""}}};
}

}  // namespace firstedge
