#include "firstedge/jitter/run_clock.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

// Further from 1970 than any run (some 3,000 years), and near enough that differences are exact to a
// microsecond.
constexpr std::int64_t furthest_s = 100'000'000'000;

bool is_sound(const Instant& instant) {
  return instant.seconds > -furthest_s && instant.seconds < furthest_s && instant.femtoseconds >= 0 &&
         instant.femtoseconds < 2 * femtoseconds_per_second;
}

std::string problem_of(const std::vector<RecordInstant>& triggers) {
  for (std::size_t i = 0; i < triggers.size(); ++i) {
    const auto& [record, instant] = triggers[i];
    if (!is_sound(instant)) return fmt::format("that of record {} is no date", record);
    if (i == 0) continue;
    const Instant& before = triggers[i - 1].instant;
    if (instant.scale != before.scale) return fmt::format("record {} is on another time scale", record);
    if (difference_s(instant, before) < 0) return fmt::format("they run backwards at record {}", record);
  }
  if (triggers.size() < 2 || !(difference_s(triggers.back().instant, triggers.front().instant) > 0))
    return "they span no time";
  return "";
}

}  // namespace

RunClock::RunClock(const JitterStamps& stamps, std::span<const PairSample> samples) {
  const std::vector<RecordInstant>& triggers = stamps.triggers();
  if (triggers.empty()) return;
  refusal_ = problem_of(triggers);
  if (!refusal_.empty()) return;
  begin_ = triggers.front().instant;
  for (const auto& [record, instant] : triggers) {
    record_.push_back(record);
    time_s_.push_back(difference_s(instant, begin_));
  }
  by_time_ = true;
  constexpr double enough = 0.9;
  for (const PairSample& sample : samples) {
    const auto with_instant = std::count_if(sample.record.begin(), sample.record.end(),
                                            [&](std::uint64_t record) { return !std::isnan(place(record)); });
    if (static_cast<double>(with_instant) >= enough * static_cast<double>(sample.size())) continue;
    refusal_ =
        fmt::format("only {} of the {} records of {} have one", with_instant, sample.size(), sample.name);
    by_time_ = false;
    return;
  }
}

double RunClock::place(std::uint64_t record) const {
  if (!by_time_) return static_cast<double>(record);
  const auto found = std::lower_bound(record_.begin(), record_.end(), record);
  if (found == record_.end() || *found != record) return std::numeric_limits<double>::quiet_NaN();
  return time_s_[static_cast<std::size_t>(found - record_.begin())];
}

std::string RunClock::words_of_place(double place) const {
  if (!by_time_) return fmt::format("record {:.0f}", std::max(0.0, std::ceil(place)));
  constexpr std::size_t to_the_second = 19;  // of "2026-11-25T06:37:12.000000000000000Z"
  return to_text(advanced(begin_, place)).substr(0, to_the_second) + " " + std::string(to_text(begin_.scale));
}

std::string RunClock::words_of_length(const Estimate& length) const {
  const std::string text = format_estimate(length, unit());
  return by_time_ ? text : text + " records";
}

}  // namespace firstedge
