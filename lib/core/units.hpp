// Quantities as people write them: "0.8 ns", "20 mV", "400 MHz" -> SI numbers.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace firstedge {

/// The SI value of "number unit" where unit is a prefix (f p n u µ m k M G T or none) and the wanted SI unit
/// ("s", "V", "Hz", "ohm", "F", "C", "m"), with or without a space. A bare number is taken as SI. Not a
/// number, another unit or trailing text: nothing. The decimal sign is '.', whatever the locale.
std::optional<double> parse_quantity(std::string_view text, std::string_view si_unit);

/// The factor of a unit with its prefix to the SI unit: ("mV", "V") -> 1e-3; nothing if it is another unit.
std::optional<double> unit_factor(std::string_view unit, std::string_view si_unit);

}  // namespace firstedge
