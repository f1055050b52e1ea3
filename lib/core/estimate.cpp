#include "firstedge/core/estimate.hpp"

#include "firstedge/core/units.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::array<std::string_view, 12> prefixes{"a", "f", "p", "n", "µ", "m",
                                                    "",  "k", "M", "G", "T", "P"};
constexpr int unity = 6;
constexpr double least_of_femto = 0.01e-15;  // 0.9 fs is read more easily than 900 as

int exponent_of(double value) {
  return static_cast<int>(std::floor(std::log10(std::abs(value))));
}

// A number of a unit without prefixes is printed without a power of ten in this range.
constexpr int lowest_plain_exponent = -3, highest_plain_exponent = 5;
// Whole numbers below this are held exactly by a double and printed in full.
constexpr double exact_whole = 1e15;

// "number unit" with the unit as it is printed.
std::string with_unit(const std::string& number, std::string_view prefix, std::string_view unit) {
  const std::string symbol = fmt::format("{}{}", prefix, unit_symbol(unit));
  return symbol.empty() ? number : fmt::format("{} {}", number, symbol);
}

}  // namespace

Prefix prefix_for(double value) {
  if (value == 0 || !std::isfinite(value)) return {};
  const int lowest = std::abs(value) < least_of_femto ? -unity : 1 - unity;
  const int group = std::clamp(static_cast<int>(std::floor(exponent_of(value) / 3.0)), lowest,
                               static_cast<int>(prefixes.size()) - 1 - unity);
  const int place = group + unity;
  return {std::pow(10.0, 3 * group), prefixes.at(static_cast<std::size_t>(place))};
}

Prefix prefix_for(double value, std::string_view unit) {
  if (!takes_prefix(unit)) return {};
  const Prefix prefix = prefix_for(value);
  return unit == "s" && prefix.factor > 1 ? Prefix{} : prefix;
}

int decimals_for(double uncertainty) {
  int decimals = 1 - exponent_of(uncertainty);
  // Rounding may carry ("0.0996" to two digits is "0.10"): look at the rounded figure once more.
  if (std::round(uncertainty * std::pow(10.0, decimals)) >= 100) --decimals;
  // Far more digits than a double holds are not digits any more.
  return std::min(decimals, 15);
}

std::string format_decimals(double value, int decimals) {
  const double step = std::pow(10.0, std::max(0, -decimals));
  const std::string text =
      fmt::format("{:.{}f}", decimals < 0 ? std::round(value / step) * step : value, std::max(0, decimals));
  // What is rounded to nothing has no sign.
  return text.find_first_not_of("-0.") == std::string::npos && text.starts_with('-') ? text.substr(1) : text;
}

std::string format_quantity(double value, std::string_view unit, int digits) {
  if (std::isnan(value)) return "-";
  const Prefix prefix = prefix_for(value, unit);
  const bool whole = std::trunc(value) == value && std::abs(value) < exact_whole;
  const std::string number = whole && !takes_prefix(unit)
                                 ? fmt::format("{:.0f}", value)
                                 : fmt::format("{:.{}g}", value / prefix.factor, digits);
  return with_unit(number, prefix.symbol, unit);
}

std::string format_estimate(const Estimate& estimate, std::string_view unit) {
  const double u = estimate.uncertainty;
  if (!(u > 0) || !std::isfinite(u) || !std::isfinite(estimate.value))
    return format_quantity(estimate.value, unit);
  const double largest = std::max(std::abs(estimate.value), u);
  const Prefix prefix = prefix_for(largest, unit);
  const int exponent = exponent_of(largest);
  const bool plain =
      takes_prefix(unit) || (exponent >= lowest_plain_exponent && exponent <= highest_plain_exponent);
  const double factor = plain ? prefix.factor : std::pow(10.0, exponent);
  const int decimals = decimals_for(u / factor);
  const std::string both =
      fmt::format("({} ± {}){}", format_decimals(estimate.value / factor, decimals),
                  format_decimals(u / factor, decimals), plain ? "" : " × " + power_of_ten(exponent));
  return with_unit(both, prefix.symbol, unit);
}

}  // namespace firstedge
