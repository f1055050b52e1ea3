// Trace: evenly spaced samples of one channel, byte-exact counts with their scale.
#pragma once

#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <utility>
#include <variant>
#include <vector>

namespace firstedge {

/// The recorded numbers as they stand in the file: a view, in the sample type of the digitizer.
using Counts = std::variant<std::span<const std::int16_t>, std::span<const std::int8_t>,
                            std::span<const std::uint8_t>, std::span<const std::uint16_t>,
                            std::span<const std::int32_t>, std::span<const float>, std::span<const double>>;

/// A view of one channel's samples in one record. The counts belong to the RecordBlock (or to whoever made
/// them), which must outlive the Trace. An empty Trace stands for a channel that is missing from the record.
///
/// Sample i was taken at time_s(i) = first_sample_s + i * interval_s from the trigger and is worth
/// volts_per_count * count + offset_v. Invariant (kept by the readers): interval_s > 0 and all scale values
/// finite.
struct Trace {
  Counts counts;
  double interval_s = 0;
  double first_sample_s = 0;  ///< from the trigger, negative before it
  double volts_per_count = 1;
  double offset_v = 0;
  /// The digitizer's limits: a count at or beyond one is clipped. Infinite when not known.
  double lowest_count = -std::numeric_limits<double>::infinity();
  double highest_count = std::numeric_limits<double>::infinity();

  std::size_t size() const {
    return std::visit([](const auto& samples) { return samples.size(); }, counts);
  }
  bool empty() const { return size() == 0; }
  double time_s(double sample) const { return first_sample_s + sample * interval_s; }
  double volts_of(double count) const { return volts_per_count * count + offset_v; }
};

/// The samples in volts, shape (size,).
std::vector<double> volts(const Trace& trace);

/// The least and the greatest count; nothing of an empty trace, or of samples that are no integers.
std::optional<std::pair<double, double>> count_range(const Trace& trace);

/// A half-open run of samples [first, last).
struct SampleRange {
  std::size_t first = 0;
  std::size_t last = 0;
  std::size_t size() const { return last - first; }
  friend bool operator==(const SampleRange&, const SampleRange&) = default;
};

/// The runs of samples at or beyond the digitizer's limits, in order; NaN and infinite samples count as
/// clipped.
std::vector<SampleRange> clipped_ranges(const Trace& trace);

}  // namespace firstedge
