// Reads a table of counter readings: edges of a pulse per second, or readings whose time is wanted.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/second_edge.hpp"
#include "firstedge/io/byte_source.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace firstedge {

struct SecondEdgeFile {
  std::vector<SecondEdge> edges;
  std::uint64_t bad = 0;        ///< lines left out
  std::vector<Error> problems;  ///< of the first most_told of them
  static constexpr std::size_t most_told = 10;
};

/// Comma-separated text: lines that start with '#' are remarks; the first other line names the columns, in
/// any order: counter (needed), second, correction. counter: ticks as a decimal number, read exactly
/// ("123456.25"); second: the second that the edge marks, ISO 8601, or empty; correction: how late the edge
/// left its receiver, "12.3 ns" or seconds, or empty. A line that is not that is left out, counted and told.
///
/// Throws Error for other columns, no line that is good, and more than most_edges.
SecondEdgeFile read_second_edges(ByteSource bytes);
SecondEdgeFile read_second_edges(const std::filesystem::path& file);

inline constexpr std::size_t most_edges = 10'000'000;  // four months of seconds

}  // namespace firstedge
