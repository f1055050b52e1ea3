// From the rows of one record to its traces: the time axis, the scale, and what is doubtful about them.
#pragma once

#include "firstedge/core/error.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/io/text_layout.hpp"
#include "firstedge/io/text_options.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

namespace firstedge {

/// One channel's samples as they were printed, and their scale.
struct TextTrace {
  std::variant<std::vector<double>, std::vector<std::int32_t>> counts;
  double interval_s = 0;
  double first_sample_s = 0;
  double volts_per_count = 1;
};

/// Something doubtful but harmless; the first of each kind is told.
struct TextRemark {
  std::string kind;
  std::string sentence;
};

struct TextRecord {
  std::vector<TextTrace> traces;  ///< in the order of TextLayout::voltages; empty if damaged
  std::optional<Instant> trigger;
  std::optional<Error> damage;
  std::uint64_t samples_not_numbers = 0;  ///< nan and inf, given as NaN
  std::vector<TextRemark> remarks;
};

/// The rows of one record as they were read.
struct TextRecordRows {
  std::string file;
  std::vector<std::size_t> wanted;           ///< columns of the file, rising
  std::vector<std::vector<double>> columns;  ///< one a wanted column, equally long, not empty
  std::vector<std::uint64_t> lines;          ///< of each row, in the file
  HeaderFacts facts;
};

/// Fits the time axis of each column of times (text_time_axis.hpp), checks a column that counts samples, and
/// gives the counts their scale. A column in counts whose values are all whole and fit 32 bits is kept as
/// int32. A time that is no even sampling, or one row without another source of the interval, is damage with
/// its line.
TextRecord traces_of(TextRecordRows rows, const TextLayout& layout, const TextOptions& options);

}  // namespace firstedge
