// Estimate: a value with its standard uncertainty and degrees of freedom, and how it is printed.
#pragma once

#include <limits>
#include <string>
#include <string_view>

namespace firstedge {

/// A value, its standard uncertainty and the degrees of freedom of that uncertainty (infinite when it is
/// known). Terms of JCGM 100:2008, 2.3.1 and G.3. A negative or NaN uncertainty means "not known".
struct Estimate {
  double value = 0;
  double uncertainty = 0;
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
};

/// A number in engineering notation with a prefix: (1.234e-10, "s") -> "123.4 ps". digits counts significant
/// digits; a whole number of a unit without prefixes (a count) is printed in full.
std::string format_quantity(double value, std::string_view unit, int digits = 4);

/// "(123.4 ± 1.7) ps": two digits of uncertainty, the value cut at the same place, one prefix for both
/// (JCGM 100:2008, 7.2.6). A unit without prefixes gets a power of ten where it is needed: "(3.20 ± 0.12) ×
/// 10⁻¹⁵ V²/Hz". An unknown uncertainty leaves the plain quantity.
std::string format_estimate(const Estimate& estimate, std::string_view unit);

/// The decimals that leave two digits of this uncertainty (JCGM 100:2008, 7.2.6); negative: the place is left
/// of the point. uncertainty is positive and finite.
int decimals_for(double uncertainty);

/// value rounded at that place: (41.26, 1) -> "41.3", (4561, -1) -> "4560", (-0.01, 1) -> "0.0".
std::string format_decimals(double value, int decimals);

/// The power of ten that format_quantity would use for this value, as factor and prefix: 1e-12 and "p".
struct Prefix {
  double factor = 1;
  std::string_view symbol;
};
Prefix prefix_for(double value);

/// The same for this unit: no prefix where the unit takes none, and no kiloseconds.
Prefix prefix_for(double value, std::string_view unit);

}  // namespace firstedge
