#include "firstedge/core/units.hpp"

#include <algorithm>
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

// Symbols that take a prefix (SI Brochure, 9th edition, tables 2 and 4, those that occur on a bench).
constexpr std::array<std::string_view, 19> prefixed_symbols{
    "s", "V", "A", "Hz", "ohm", "Ω", "C", "F", "m", "W", "J", "eV", "T", "N", "Pa", "H", "g", "rad", "Gy"};

constexpr std::array<std::string_view, 10> raised_digits{"⁰", "¹", "²", "³", "⁴", "⁵", "⁶", "⁷", "⁸", "⁹"};

std::string raised(std::string_view digits) {
  std::string text;
  for (const char c : digits) {
    if (c == '-') {
      text += "⁻";
    } else if (c >= '0' && c <= '9') {
      text += raised_digits.at(static_cast<std::size_t>(c - '0'));
    }
  }
  return text;
}

void replace_all(std::string& text, std::string_view from, std::string_view to) {
  for (std::size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size())
    text.replace(at, from.size(), to);
}

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

bool takes_prefix(std::string_view unit) {
  const std::string_view first = unit.substr(0, unit.find_first_of("/ *"));
  return std::find(prefixed_symbols.begin(), prefixed_symbols.end(), first) != prefixed_symbols.end();
}

std::string unit_symbol(std::string_view unit) {
  std::string symbol;
  for (std::size_t at = 0; at < unit.size();) {
    const std::size_t digits = unit.find_first_not_of("-0123456789", at + 1);
    const std::string_view power = unit.substr(at + 1, std::min(digits, unit.size()) - at - 1);
    if (unit[at] == '^' && !power.empty()) {
      symbol += raised(power);
      at += 1 + power.size();
    } else {
      symbol += unit[at++];
    }
  }
  replace_all(symbol, "sqrt(Hz)", "√Hz");
  replace_all(symbol, "ohm", "Ω");
  return symbol;
}

std::string power_of_ten(int exponent) {
  return "10" + raised(std::to_string(exponent));
}

}  // namespace firstedge
