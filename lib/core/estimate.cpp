#include "firstedge/core/estimate.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::array<std::string_view, 11> prefixes{"f", "p", "n", "µ", "m", "", "k", "M", "G", "T", "P"};
constexpr int unity = 5;

int exponent_of(double value) {
  return static_cast<int>(std::floor(std::log10(std::abs(value))));
}

// Units that take no prefix: ratios, counts, per cent.
bool takes_prefix(std::string_view unit) {
  return !unit.empty() && unit != "%" && unit != "dB";
}

}  // namespace

Prefix prefix_for(double value) {
  if (value == 0 || !std::isfinite(value)) return {};
  const int group = std::clamp(static_cast<int>(std::floor(exponent_of(value) / 3.0)), -unity,
                               static_cast<int>(prefixes.size()) - 1 - unity);
  return {std::pow(10.0, 3 * group), prefixes.at(static_cast<std::size_t>(group + unity))};
}

std::string format_quantity(double value, std::string_view unit, int digits) {
  if (std::isnan(value)) return "-";
  const Prefix prefix = takes_prefix(unit) ? prefix_for(value) : Prefix{};
  const std::string number = fmt::format("{:.{}g}", value / prefix.factor, digits);
  const std::string symbol = fmt::format("{}{}", prefix.symbol, unit);
  return symbol.empty() ? number : fmt::format("{} {}", number, symbol);
}

std::string format_estimate(const Estimate& estimate, std::string_view unit) {
  const double u = estimate.uncertainty;
  if (!(u > 0) || !std::isfinite(u) || !std::isfinite(estimate.value))
    return format_quantity(estimate.value, unit);
  const double largest = std::max(std::abs(estimate.value), u);
  const Prefix prefix = takes_prefix(unit) ? prefix_for(largest) : Prefix{};
  const double scaled_u = u / prefix.factor;
  int decimals = 1 - exponent_of(scaled_u);
  // Rounding may carry ("0.0996" to two digits is "0.10"): look at the rounded figure once more.
  if (std::round(scaled_u * std::pow(10.0, decimals)) >= 100) --decimals;
  // Far more digits than a double holds are not digits any more.
  decimals = std::clamp(decimals, 0, 15);
  const std::string symbol = fmt::format("{}{}", prefix.symbol, unit);
  return fmt::format("({:.{}f} ± {:.{}f}){}{}", estimate.value / prefix.factor, decimals, scaled_u, decimals,
                     symbol.empty() ? "" : " ", symbol);
}

}  // namespace firstedge
