// The part of a Setup that says what signals pass through: "elements", "temperature" and the chains' names.
#pragma once

#include "firstedge/core/chain.hpp"
#include "firstedge/core/settings.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// The list "elements" of a Setup; empty if there is none.
///
/// An element: {"name": text, "delay": "48.32 ns", "uncertainty": "35 ps", "type": "A" or "B",
/// "distribution": "normal", "rectangular", "triangular", "u-shaped" or "t", "degrees_of_freedom": number,
/// "method": text, "measured": date, "valid_from": date, "valid_until": date, "temperature_coefficient":
/// {"ppm_per_kelvin": number, "uncertainty_ppm_per_kelvin": number, "at_celsius": number}}; or {"name": text,
/// "calibrations": [the same without name, several]}. A date is "2026-10-02" (until: to its end) or an
/// instant in ISO 8601.
///
/// If absent: type B, infinite degrees of freedom (type A must give them), "normal", or "t" for type A; no
/// limits of validity.
///
/// Throws Error with the path of names for an element without a name, a name given twice, a delay that is not
/// a time below 1 s in size, an uncertainty that is negative, not a time or above 1 s, degrees of freedom
/// that are not positive, "t" without them, dates that are none or out of order, and calibrations valid at
/// the same time.
std::vector<Element> elements_from(const Settings& root);

/// The list "chain" of a channel (of `settings`): names out of `elements`, in order from the sensor to the
/// record; nothing if absent. Throws Error for a name that is not in the list or stands twice in the chain.
std::optional<std::vector<std::string>> chain_from(const Settings& settings,
                                                   std::span<const Element> elements);

/// {"temperature": {"celsius": number, "uncertainty": number}}: of the surroundings of all elements; nothing
/// if absent. Throws Error for figures without sense.
std::optional<Estimate> temperature_from(const Settings& root);

}  // namespace firstedge
