#include "firstedge/io/binary_time_stamp.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cmath>
#include <string>
#include <string_view>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

// 128 bits hold any 64-bit tick count times 1e15 without rounding.
__extension__ using Wide = __int128;

struct NumberWords {
  std::string_view word;
  TimeStampLayout::Number number;
  std::size_t bytes;
};

constexpr std::array<NumberWords, 6> number_table{{{"uint16", TimeStampLayout::Number::uint16, 2},
                                                   {"uint32", TimeStampLayout::Number::uint32, 4},
                                                   {"uint64", TimeStampLayout::Number::uint64, 8},
                                                   {"int32", TimeStampLayout::Number::int32, 4},
                                                   {"int64", TimeStampLayout::Number::int64, 8},
                                                   {"float64", TimeStampLayout::Number::float64, 8}}};

constexpr std::array<std::pair<std::string_view, std::uint64_t>, 6> units{{{"s", 1},
                                                                           {"ms", 1'000},
                                                                           {"us", 1'000'000},
                                                                           {"ns", 1'000'000'000},
                                                                           {"ps", 1'000'000'000'000},
                                                                           {"fs", 1'000'000'000'000'000}}};

// Seconds from 1970 to the first instant of year 1 and past the last of year 9999 (proleptic Gregorian
// calendar).
constexpr Wide first_second = -62'135'596'800;
constexpr Wide end_second = 253'402'300'800;

std::vector<std::string> words(const auto& table, auto word_of) {
  std::vector<std::string> list;
  list.reserve(table.size());
  for (const auto& row : table) list.emplace_back(word_of(row));
  return list;
}

[[maybe_unused]] bool lies_inside(const TimeStampLayout::Part& part, std::size_t size) {
  const auto* row = std::find_if(number_table.begin(), number_table.end(),
                                 [&](const NumberWords& one) { return one.number == part.number; });
  return part.offset + row->bytes <= size;
}

std::uint64_t ticks_per_second(const Settings& settings) {
  if (settings.has("unit") == settings.has("ticks_per_second")) {
    settings.refuse("unit", settings.has("unit") ? "stands beside ticks_per_second" : "is missing",
                    "give either \"unit\": \"ns\" or \"ticks_per_second\": 125000000");
  }
  constexpr auto most = static_cast<std::uint64_t>(femtoseconds_per_second);
  if (settings.has("ticks_per_second")) return settings.whole_number("ticks_per_second", 1, 1, most);
  const std::string unit =
      settings.choice("unit", "", words(units, [](const auto& row) { return row.first; }));
  return std::find_if(units.begin(), units.end(), [&](const auto& row) { return row.first == unit; })->second;
}

TimeStampLayout::Part part_of(const Settings& settings, std::size_t record_header_bytes) {
  TimeStampLayout::Part part;
  const std::string word =
      settings.choice("type", "", words(number_table, [](const NumberWords& row) { return row.word; }));
  const auto* row = std::find_if(number_table.begin(), number_table.end(),
                                 [&](const NumberWords& one) { return one.word == word; });
  part.number = row->number;
  if (!settings.has("offset") || record_header_bytes < row->bytes) {
    settings.refuse("offset", fmt::format("has no place in a record header of {} bytes", record_header_bytes),
                    "give \"record_header_bytes\" and the time stamp's offset in it");
  }
  part.offset =
      static_cast<std::size_t>(settings.whole_number("offset", 0, 0, record_header_bytes - row->bytes));
  part.ticks_per_second = ticks_per_second(settings);
  return part;
}

template <class T>
T number_at(const std::byte* bytes, bool big_endian) {
  std::array<std::byte, sizeof(T)> own;
  std::copy_n(bytes, sizeof(T), own.begin());
  if (big_endian != (std::endian::native == std::endian::big)) std::reverse(own.begin(), own.end());
  return std::bit_cast<T>(own);
}

// Ticks as a whole number and a fraction in [0, 1).
std::optional<std::pair<Wide, double>> ticks_at(const std::byte* bytes, TimeStampLayout::Number number,
                                                bool big_endian) {
  switch (number) {
    case TimeStampLayout::Number::uint16:
      return std::pair{Wide{number_at<std::uint16_t>(bytes, big_endian)}, 0.0};
    case TimeStampLayout::Number::uint32:
      return std::pair{Wide{number_at<std::uint32_t>(bytes, big_endian)}, 0.0};
    case TimeStampLayout::Number::uint64:
      return std::pair{Wide{number_at<std::uint64_t>(bytes, big_endian)}, 0.0};
    case TimeStampLayout::Number::int32:
      return std::pair{Wide{number_at<std::int32_t>(bytes, big_endian)}, 0.0};
    case TimeStampLayout::Number::int64:
      return std::pair{Wide{number_at<std::int64_t>(bytes, big_endian)}, 0.0};
    case TimeStampLayout::Number::float64:
      break;
  }
  const auto ticks = number_at<double>(bytes, big_endian);
  constexpr double too_large = 9e18;  // below 2^63
  if (!(std::abs(ticks) < too_large)) return std::nullopt;
  return std::pair{Wide{static_cast<std::int64_t>(std::floor(ticks))}, ticks - std::floor(ticks)};
}

Instant epoch_of(const Settings& settings) {
  const std::string text = settings.text("epoch", "");
  const std::string scale = settings.choice("scale", "UTC", {"UTC", "TAI", "GPS"});
  if (text.empty()) {
    settings.refuse("epoch", "is missing",
                    "give the instant of tick 0, like \"1970-01-01T00:00:00Z\", or \"relative\"");
  }
  if (text == "relative") return {.scale = TimeScale::tai, .seconds = 0, .femtoseconds = 0};
  const Instant epoch = parse_instant(text, *time_scale_named(scale), settings.place() + "/epoch");
  if (to_text(epoch.scale) != scale) {
    settings.refuse("scale", fmt::format("is {}, but the epoch is on {}", scale, to_text(epoch.scale)),
                    "leave the Z out of the epoch, or take UTC");
  }
  return epoch;
}

}  // namespace

TimeStampLayout time_stamp_layout(const Settings& settings, std::size_t record_header_bytes) {
  TimeStampLayout layout;
  layout.epoch = epoch_of(settings);
  layout.relative = settings.text("epoch", "") == "relative";
  if (settings.has("parts")) {
    for (const Settings& part : settings.groups("parts")) {
      layout.parts.push_back(part_of(part, record_header_bytes));
      part.finish();
    }
    if (layout.parts.empty())
      settings.refuse("parts", "is empty", "list the numbers that make the time stamp");
  } else {
    layout.parts.push_back(part_of(settings, record_header_bytes));
  }
  settings.finish();
  return layout;
}

std::optional<Instant> read_time_stamp(std::span<const std::byte> record_header,
                                       const TimeStampLayout& layout, bool big_endian) {
  Wide seconds = layout.epoch.seconds;
  Wide femtoseconds = layout.epoch.femtoseconds;
  for (const TimeStampLayout::Part& part : layout.parts) {
    assert(lies_inside(part, record_header.size()));
    const auto ticks = ticks_at(record_header.data() + part.offset, part.number, big_endian);
    if (!ticks) return std::nullopt;
    const auto [whole, fraction] = *ticks;
    const Wide rate = part.ticks_per_second;
    const Wide whole_seconds = whole >= 0 ? whole / rate : -((-whole + rate - 1) / rate);
    const Wide rest = whole - whole_seconds * rate;  // [0, rate)
    seconds += whole_seconds;
    femtoseconds += (rest * femtoseconds_per_second + rate / 2) / rate;
    femtoseconds +=
        std::llround(fraction * static_cast<double>(femtoseconds_per_second) / static_cast<double>(rate));
  }
  seconds += femtoseconds / femtoseconds_per_second;
  femtoseconds %= femtoseconds_per_second;
  if (seconds < first_second || seconds >= end_second) return std::nullopt;
  return Instant{.scale = layout.epoch.scale,
                 .seconds = static_cast<std::int64_t>(seconds),
                 .femtoseconds = static_cast<std::int64_t>(femtoseconds)};
}

}  // namespace firstedge
