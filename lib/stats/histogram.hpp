// Histogram: counts in bins, with everything that fell outside counted too.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// Counts of values in bins. Bin i holds edges[i] <= value < edges[i+1], the last one its upper edge too.
/// Invariant: edges rise, edges.size() == counts.size() + 1, and the counts, below, above and not_finite
/// together are the number of values.
struct Histogram {
  std::vector<double> edges;
  std::vector<std::uint64_t> counts;
  std::uint64_t below = 0, above = 0, not_finite = 0;

  std::size_t bins() const { return counts.size(); }
  double middle(std::size_t bin) const { return 0.5 * (edges[bin] + edges[bin + 1]); }
  double width(std::size_t bin) const { return edges[bin + 1] - edges[bin]; }
  std::vector<double> middles() const;
  /// The counts as plot values, and their square roots (at least 1) as error bars.
  std::vector<double> heights() const;
  std::vector<double> height_uncertainties() const;
  std::uint64_t inside() const;
};

/// How bins are chosen when they are not given.
struct BinOptions {
  std::size_t bins = 0;             ///< 0: width 2 IQR n^(-1/3), D. Freedman and P. Diaconis (1981)
  std::size_t most_bins = 200;      ///< cap of the automatic number
  std::optional<double> low, high;  ///< range; the sample's own where absent
};

/// Evenly spaced edges, bins + 1 of them. Throws Error unless low < high are finite and bins is 1..1e6.
std::vector<double> even_edges(double low, double high, std::size_t bins);

/// Edges for this sample. Values that are not finite are left out; a sample without spread (or empty) gets
/// one bin around its value. Throws Error as even_edges, and for a low not below high.
std::vector<double> edges_for(std::span<const double> values, const BinOptions& options);

/// Throws Error for fewer than 2 edges or edges that do not rise.
Histogram histogram(std::span<const double> values, std::vector<double> edges);
Histogram histogram(std::span<const double> values, const BinOptions& options = {});

}  // namespace firstedge
