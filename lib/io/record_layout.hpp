// The names in the layout "firstedge records 1", for its writer and its reader.
#pragma once

namespace firstedge::record_layout {

inline constexpr const char* name = "firstedge records 1";
inline constexpr const char* layout = "layout";      // attribute of the root
inline constexpr const char* channels = "channels";  // group of the datasets, one a channel
inline constexpr const char* order = "order";        // attribute of the group: names in the run's order

// Attributes of a channel's dataset.
inline constexpr const char* interval = "interval_s";
inline constexpr const char* first_sample = "first_sample_s";
inline constexpr const char* volts_per_count = "volts_per_count";
inline constexpr const char* offset = "offset_v";
inline constexpr const char* lowest_count = "lowest_count";
inline constexpr const char* highest_count = "highest_count";

inline constexpr const char* horizontal_offsets = "horizontal_offsets";  // group: one double a record
inline constexpr const char* triggers = "triggers";                      // group of the three below
inline constexpr const char* seconds = "seconds";
inline constexpr const char* femtoseconds = "femtoseconds";
inline constexpr const char* scale = "scale";  // a TimeScale, or no_trigger
inline constexpr unsigned char no_trigger = 255;

}  // namespace firstedge::record_layout
