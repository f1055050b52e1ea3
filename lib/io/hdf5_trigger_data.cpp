#include "firstedge/io/hdf5_trigger_data.hpp"

#include "firstedge/io/record_layout.hpp"

#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

__extension__ using Wide = __int128;

// 0001-01-01 to 9999-12-31, what ISO 8601 writes with four digits of the year.
constexpr std::int64_t first_second = -62'135'596'800;
constexpr std::int64_t last_second = 253'402'300'799;

Wide in_femtoseconds(const Hdf5Column::Parts& parts, std::int64_t unit_fs) {
  return Wide{parts.whole} * unit_fs + std::llround(parts.rest * static_cast<double>(unit_fs));
}

bool is_instant(std::int64_t femtoseconds, TimeScale scale) {
  const std::int64_t end =
      scale == TimeScale::utc ? 2 * femtoseconds_per_second : femtoseconds_per_second;  // a leap second
  return femtoseconds >= 0 && femtoseconds < end;
}

}  // namespace

Hdf5TriggerData::Hdf5TriggerData(const Hdf5File& file, const Hdf5Trigger& trigger)
    : trigger_(trigger), coarse_(file, trigger.coarse.path) {
  if (trigger.fine) fine_.emplace(file, trigger.fine->path);
  if (trigger.scale) scale_.emplace(file, trigger.scale->path);
}

std::optional<Instant> Hdf5TriggerData::instant(const Hdf5Column::Parts& coarse,
                                                const Hdf5Column::Parts& fine, TimeScale scale) const {
  Instant instant{scale, coarse.whole, fine.whole};
  if (!trigger_.is_instant) {
    const Wide sum = trigger_.origin.femtoseconds + in_femtoseconds(coarse, trigger_.coarse_unit_fs) +
                     in_femtoseconds(fine, trigger_.fine_unit_fs);
    Wide seconds = sum / femtoseconds_per_second;
    Wide rest = sum % femtoseconds_per_second;
    if (rest < 0) {
      rest += femtoseconds_per_second;
      --seconds;
    }
    seconds += trigger_.origin.seconds;
    if (seconds < first_second || seconds > last_second) return std::nullopt;
    instant.seconds = static_cast<std::int64_t>(seconds);
    instant.femtoseconds = static_cast<std::int64_t>(rest);
  }
  if (instant.seconds < first_second || instant.seconds > last_second) return std::nullopt;
  if (!is_instant(instant.femtoseconds, scale)) return std::nullopt;
  return instant;
}

Hdf5TriggerData::Stretch Hdf5TriggerData::read(std::uint64_t first, std::uint64_t count) {
  const auto coarse = coarse_.parts(first, count);
  std::vector<std::optional<Hdf5Column::Parts>> fine(count, Hdf5Column::Parts{}), scale = fine;
  if (fine_) fine = fine_->parts(first, count);
  if (scale_) scale = scale_->parts(first, count);
  Stretch stretch{std::vector<std::optional<Instant>>(count), std::nullopt};
  for (std::size_t i = 0; i < count; ++i) {
    TimeScale on = trigger_.origin.scale;
    if (scale_ && scale[i]) {
      if (scale[i]->whole == record_layout::no_trigger) continue;
      if (scale[i]->whole < 0 || scale[i]->whole > static_cast<std::int64_t>(TimeScale::gps)) {
        scale[i].reset();
      } else {
        on = static_cast<TimeScale>(scale[i]->whole);
      }
    }
    if (coarse[i] && fine[i] && scale[i]) stretch.instants[i] = instant(*coarse[i], *fine[i], on);
    if (!stretch.instants[i] && !stretch.problem) {
      stretch.problem.emplace(fmt::format("{}, record {}", coarse_.place(), first + i),
                              "the trigger time is missing, damaged or outside the years 1 to 9999",
                              "such records are read without one");
    }
  }
  return stretch;
}

}  // namespace firstedge
