// Which calibration of an element holds at a date.
#pragma once

#include "firstedge/core/chain.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

namespace firstedge {

enum class Standing : std::uint8_t { valid, expired, not_yet_valid, date_unknown };

/// The calibration to use, and how it stands to the date.
struct ChosenCalibration {
  std::size_t index = 0;
  Standing standing = Standing::valid;
};

/// The calibration of which valid_from <= when < valid_until. If there is none, the last one that ended
/// before (expired), else the first that is to come (not_yet_valid). Without a date: the only one, if it has
/// no limits (valid), else the last (date_unknown).
///
/// Dates are compared as their calendars read, whatever their time scales: right to within the tens of
/// seconds by which these differ. The element has at least one calibration (assert).
ChosenCalibration choose_calibration(const Element& element, const std::optional<Instant>& when);

/// One sentence for a standing other than valid: "cable N3: expired on 2026-10-01 ...".
std::string doubt_about(const Element& element, const ChosenCalibration& chosen,
                        const std::optional<Instant>& when);

}  // namespace firstedge
