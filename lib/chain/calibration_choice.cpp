#include "firstedge/chain/calibration_choice.hpp"

#include <cassert>
#include <tuple>

#include <fmt/format.h>

namespace firstedge {
namespace {

bool is_before(const Instant& a, const Instant& b) {
  return std::tie(a.seconds, a.femtoseconds) < std::tie(b.seconds, b.femtoseconds);
}

// To the second: what a person writes.
std::string short_date(const Instant& instant) {
  constexpr std::size_t to_seconds = 19;
  return to_text(instant).substr(0, to_seconds);
}

}  // namespace

ChosenCalibration choose_calibration(const Element& element, const std::optional<Instant>& when) {
  const auto& all = element.calibrations;
  assert(!all.empty());
  if (!when) {
    const bool unlimited = all.size() == 1 && !all.front().valid_from && !all.front().valid_until;
    return {.index = all.size() - 1, .standing = unlimited ? Standing::valid : Standing::date_unknown};
  }
  std::optional<std::size_t> ended;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const bool begun = !all[i].valid_from || !is_before(*when, *all[i].valid_from);
    const bool over = all[i].valid_until && !is_before(*when, *all[i].valid_until);
    if (begun && !over) return {.index = i, .standing = Standing::valid};
    if (over) ended = i;
  }
  if (ended) return {.index = *ended, .standing = Standing::expired};
  return {.index = 0, .standing = Standing::not_yet_valid};
}

std::string doubt_about(const Element& element, const ChosenCalibration& chosen,
                        const std::optional<Instant>& when) {
  const Calibration& calibration = element.calibrations[chosen.index];
  switch (chosen.standing) {
    case Standing::valid:
      return "";
    case Standing::expired:
      return fmt::format("the calibration of '{}' ended before {} (valid until {})", element.name,
                         short_date(*when), short_date(*calibration.valid_until));
    case Standing::not_yet_valid:
      return fmt::format("the calibration of '{}' begins after {} (valid from {})", element.name,
                         short_date(*when), short_date(*calibration.valid_from));
    case Standing::date_unknown:
      return fmt::format("the calibrations of '{}' have limits, and the date of the records is not known",
                         element.name);
  }
  return "";
}

}  // namespace firstedge
