#include "firstedge/core/units.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <utility>

namespace firstedge {
namespace {

constexpr std::array<std::pair<std::string_view, double>, 12> prefix_factors{{{"", 1.0},
                                                                              {"f", 1e-15},
                                                                              {"p", 1e-12},
                                                                              {"n", 1e-9},
                                                                              {"u", 1e-6},
                                                                              {"µ", 1e-6},
                                                                              {"μ", 1e-6},
                                                                              {"m", 1e-3},
                                                                              {"k", 1e3},
                                                                              {"M", 1e6},
                                                                              {"G", 1e9},
                                                                              {"T", 1e12}}};

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return text;
}

}  // namespace

std::optional<double> unit_factor(std::string_view unit, std::string_view si_unit) {
  if (!unit.ends_with(si_unit)) {
    if (si_unit == "ohm" && unit.ends_with("Ω"))
      return unit_factor(std::string(unit.substr(0, unit.size() - 2)) + "ohm", si_unit);
    return std::nullopt;
  }
  const std::string_view prefix = unit.substr(0, unit.size() - si_unit.size());
  for (const auto& [symbol, factor] : prefix_factors) {
    if (symbol == prefix) return factor;
  }
  return std::nullopt;
}

std::optional<double> parse_quantity(std::string_view text, std::string_view si_unit) {
  text = trimmed(text);
  if (text.starts_with('+')) text.remove_prefix(1);
  double value = 0;
  const auto [rest, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failure != std::errc() || !std::isfinite(value)) return std::nullopt;
  const std::string_view unit = trimmed(text.substr(static_cast<std::size_t>(rest - text.data())));
  if (unit.empty()) return value;
  const auto factor = unit_factor(unit, si_unit);
  if (!factor) return std::nullopt;
  return value * *factor;
}

}  // namespace firstedge
