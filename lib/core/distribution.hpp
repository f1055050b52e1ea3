// The distributions that an uncertainty may be stated with, in one table.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace firstedge {

/// What is known of an input quantity beside its Estimate. Each has the estimate's value as its centre and,
/// but for student_t, the estimate's uncertainty as its standard deviation: rectangular has the half width
/// sqrt(3) u, triangular sqrt(6) u, u_shaped (arc sine) sqrt(2) u (JCGM 101:2008, 6.4.2 to 6.4.6).
/// student_t is scaled by u with the estimate's degrees of freedom v, so that its standard deviation is
/// u sqrt(v/(v - 2)) where it has one (6.4.9); with infinite degrees of freedom it is normal.
enum class Distribution : std::uint8_t { normal, rectangular, triangular, u_shaped, student_t };

struct DistributionWords {
  Distribution distribution;
  std::string_view name;
};

inline constexpr std::array<DistributionWords, 5> distribution_table{{
    {Distribution::normal, "normal"},
    {Distribution::rectangular, "rectangular"},
    {Distribution::triangular, "triangular"},
    {Distribution::u_shaped, "u-shaped"},
    {Distribution::student_t, "t"},
}};

constexpr std::string_view to_text(Distribution distribution) {
  return distribution_table.at(static_cast<std::size_t>(distribution)).name;
}

/// Nothing for a word that is none of the table's.
constexpr std::optional<Distribution> distribution_named(std::string_view name) {
  for (const DistributionWords& words : distribution_table) {
    if (words.name == name) return words.distribution;
  }
  return std::nullopt;
}

}  // namespace firstedge
