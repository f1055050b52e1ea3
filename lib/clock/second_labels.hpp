// Labels of seconds: which of them contradict the others, and where a whole second was lost.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

struct SecondNumbers {
  std::int64_t first_label = 0;  ///< of the first edge, by its own label or counted back to it
  /// By edge: whole seconds to add to the count so that it follows the labels, 0 at the first.
  std::vector<std::int64_t> added;
  /// By edge: nothing says on which side of a lost second it lies.
  std::vector<bool> unclear;
  std::size_t labels = 0, wrong = 0;
};

/// counted: seconds of each edge by the counter; jumped: where the counter jumped before it; labels: what was
/// said of them. All of one size, at least one label known. A label less its count is constant until a whole
/// second is lost, by the counter or by the one who labels. A new value that holds for at least fewest_alike
/// labels is believed and followed, unless the old one comes back later: then the labels between were wrong.
/// Others are wrong too; they count in `wrong`. The second was lost where the counter jumped between the last
/// old and the first new label; with no jump there (or between several), the edges between are unclear.
SecondNumbers number_seconds(std::span<const std::int64_t> counted, const std::vector<bool>& jumped,
                             std::span<const std::optional<std::int64_t>> labels);

inline constexpr std::size_t fewest_alike = 4;

}  // namespace firstedge
