// The scale of samples whose file does not tell it: interval, first sample, volts per count, limits, channel
// names.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/core/trace.hpp"
#include "firstedge/io/binary_samples.hpp"

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// What turns one channel's counts into a Trace.
struct ChannelScale {
  double interval_s = 0;
  double first_sample_s = 0;
  double volts_per_count = 1;
  double offset_v = 0;
  std::optional<double> lowest_count, highest_count;  ///< nothing: the ends of the sample type
};

/// Names "interval", "first_sample", "volts_per_count", "offset", "lowest_count", "highest_count" of a group,
/// each one value for all channels or a list with one a channel. Throws Error at the group for a missing or
/// non-positive interval (an interval cannot be guessed), a list of another size, a volts_per_count of 0,
/// limits out of order and values that are not finite.
std::vector<ChannelScale> channel_scales(const Settings& settings, std::size_t channels);

/// One sentence for each thing that the group does not say and that was therefore taken as usual.
std::vector<std::string> scale_guesses(const Settings& settings, SampleType type);

/// The names under "channels", checked (not empty, none twice; one less or more than `count` throws Error),
/// or, if there are none, "channel_1", "channel_2", ...
std::vector<std::string> channel_names(const Settings& settings, std::size_t count);

Trace scaled_trace(const Counts& counts, const ChannelScale& scale, SampleType type);

}  // namespace firstedge
