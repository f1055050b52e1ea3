#include "firstedge/core/trace.hpp"

namespace firstedge {

std::vector<double> volts(const Trace& trace) {
  std::vector<double> values(trace.size());
  std::visit(
      [&](const auto& samples) {
        for (std::size_t i = 0; i < samples.size(); ++i)
          values[i] = trace.volts_of(static_cast<double>(samples[i]));
      },
      trace.counts);
  return values;
}

std::vector<SampleRange> clipped_ranges(const Trace& trace) {
  std::vector<SampleRange> ranges;
  std::visit(
      [&](const auto& samples) {
        for (std::size_t i = 0; i < samples.size(); ++i) {
          const auto count = static_cast<double>(samples[i]);
          if (count > trace.lowest_count && count < trace.highest_count) continue;  // false for NaN
          if (!ranges.empty() && ranges.back().last == i) {
            ranges.back().last = i + 1;
          } else {
            ranges.push_back({i, i + 1});
          }
        }
      },
      trace.counts);
  return ranges;
}

}  // namespace firstedge
