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

/// Whether a prefix may stand before this unit. "s", "V/s", "V s" take one; "" and counts, "%", "dB", "1/s"
/// and powers such as "V^2/Hz" (where the prefix would be raised too) do not.
bool takes_prefix(std::string_view unit);

/// The unit as it is printed: powers raised, "ohm" as the letter: "V^2/Hz" -> "V²/Hz", "1/sqrt(Hz)" ->
/// "1/√Hz".
std::string unit_symbol(std::string_view unit);

/// 10 to a whole power as it is printed: -15 -> "10⁻¹⁵".
std::string power_of_ten(int exponent);

}  // namespace firstedge
