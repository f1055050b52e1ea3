// Records of random counts that own their samples, and their comparison bit for bit.
#pragma once

#include "firstedge/core/record.hpp"

#include "support/random.hpp"

#include <cstring>
#include <limits>
#include <memory>
#include <span>
#include <type_traits>
#include <vector>

namespace firstedge::test {

/// A trace of random bytes in the sample type of `like` (floats: any finite number), with the scale of
/// `scale`; its samples are kept in block.storage.
inline Trace random_trace(Random& random, const Counts& like, std::size_t samples, const Trace& scale,
                          RecordBlock& block) {
  Trace trace = scale;
  std::visit(
      [&](const auto& type) {
        using Sample = typename std::decay_t<decltype(type)>::value_type;
        auto owned = std::make_shared<std::vector<Sample>>(samples);
        for (Sample& sample : *owned) {
          if constexpr (std::is_floating_point_v<Sample>) {
            sample = static_cast<Sample>(random.normal(0, 1e3));
          } else {
            const double low = std::numeric_limits<Sample>::min();
            sample = static_cast<Sample>(
                std::floor(random.uniform(low, std::numeric_limits<Sample>::max() + 1.0)));
          }
        }
        trace.counts = std::span<const Sample>(*owned);
        block.storage.push_back(std::move(owned));
      },
      like);
  return trace;
}

inline bool same_bits(double a, double b) {
  return std::memcmp(&a, &b, sizeof a) == 0;
}

inline bool same_bits(const Trace& a, const Trace& b) {
  const auto bytes = [](const Trace& trace) {
    return std::visit([](const auto& samples) { return std::as_bytes(samples); }, trace.counts);
  };
  return a.counts.index() == b.counts.index() && a.size() == b.size() &&
         (a.empty() || std::memcmp(bytes(a).data(), bytes(b).data(), bytes(a).size()) == 0) &&
         same_bits(a.interval_s, b.interval_s) && same_bits(a.first_sample_s, b.first_sample_s) &&
         same_bits(a.volts_per_count, b.volts_per_count) && same_bits(a.offset_v, b.offset_v) &&
         same_bits(a.lowest_count, b.lowest_count) && same_bits(a.highest_count, b.highest_count);
}

inline bool same_bits(const Record& a, const Record& b) {
  if (a.index != b.index || a.trigger != b.trigger || a.traces.size() != b.traces.size()) return false;
  for (std::size_t i = 0; i < a.traces.size(); ++i) {
    if (!same_bits(a.traces[i], b.traces[i])) return false;
  }
  return true;
}

}  // namespace firstedge::test
