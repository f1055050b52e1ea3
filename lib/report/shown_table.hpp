// A Table as it is shown to people, in text and on a page alike: one unit for a column, its prefix chosen,
// numbers split at the point so that they can be lined up.
#pragma once

#include "firstedge/core/result.hpp"

#include <string>
#include <vector>

namespace firstedge {

/// A number split for alignment: "-41", ".30". Both empty: nothing to show.
struct ShownNumber {
  std::string whole, fraction;
};

/// A cell: words, or a number with (or without) its uncertainty. A NaN and a missing cell are the words "-".
struct ShownCell {
  std::string words;
  ShownNumber value, uncertainty;
};

struct ShownColumn {
  std::string label;
  std::string unit;  ///< as it stands in the head, with prefix or power of ten: "ps", "10⁻¹⁵ V²/Hz"; or ""
  bool numeric = false;  ///< holds a number: set to the right
  std::vector<ShownCell> cells;
};

/// The columns of a table with clean words (see words.hpp). A column has one prefix, chosen for its largest
/// value, and no unit where it has no cell; where its numbers span more than five decades each cell has its
/// own. Columns of one unit beside each other share a prefix where that leaves none below a tenth and none at
/// 10,000 or more; a column of zeros has that of the nearest column of its unit. Numbers without uncertainty
/// are given to five digits of the largest (four without a unit that takes a prefix), two of the smallest
/// (not of shares in %) and two of their range, whole numbers in full. A row with more cells than there are
/// columns gets columns without a head.
std::vector<ShownColumn> shown_columns(const Table& table);

/// A factor and the unit that it makes: {1e-12, "ps"}, {1e-15, "10⁻¹⁵ V²/Hz"}, {1, "V"}. largest is the
/// largest magnitude to be shown. Used for columns and for the axes of plots.
struct ShownScale {
  double factor = 1;
  std::string unit;
};
ShownScale shown_scale(double largest, const std::string& unit);

}  // namespace firstedge
