// Decimals as text files mostly have them, read at full speed: inline, since rows are made of nothing else.
#pragma once

#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <string_view>

namespace firstedge {

constexpr bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

constexpr bool is_letter(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

/// A number and how many bytes it takes: small enough to be handed over in registers.
struct PlainNumber {
  double value = 0;
  std::size_t length = 0;
};

namespace plain_decimal_parts {

// Digits behind one another, as one number, and where they end.
struct Digits {
  std::uint64_t value = 0;
  const char* end = nullptr;
};

// Eight digits or fewer at once, of at least 8 bytes of text: their number in bytes is found by the first
// byte that is none, they are moved behind zeros, and three products put pairs, fours and the eight together.
inline Digits up_to_eight_digits(const char* at, std::uint64_t before) {
  static constexpr std::array<std::uint64_t, 9> powers{1,       10,        100,        1'000,      10'000,
                                                       100'000, 1'000'000, 10'000'000, 100'000'000};
  std::uint64_t text = 0;
  std::memcpy(&text, at, sizeof text);
  text ^= 0x3030303030303030U;  // digits become 0 to 9
  const std::uint64_t others = ((text + 0x7676767676767676U) | text) & 0x8080808080808080U;
  const int count = std::countr_zero(others) / 8;  // 8 where all are digits
  if (count == 0) return {before, at};
  text <<= 8 * (8 - count);
  text = text * 10 + (text >> 8U);
  constexpr std::uint64_t pairs = 0x000000ff000000ffU;
  const std::uint64_t value =
      ((text & pairs) * 0x000f424000000064U + ((text >> 16U) & pairs) * 0x0000271000000001U) >> 32U;
  return {before * powers.at(static_cast<std::size_t>(count)) + value, at + count};
}

// The digits from `at` on, appended to those before; more than 19 in all overflow.
inline Digits digits_at(const char* at, const char* end, std::uint64_t before) {
  if constexpr (std::endian::native == std::endian::little) {
    while (end - at >= 8) {
      const Digits some = up_to_eight_digits(at, before);
      if (some.end - at < 8) return some;
      at = some.end;
      before = some.value;
    }
  }
  for (; at != end && is_digit(*at); ++at) before = before * 10 + static_cast<std::uint64_t>(*at - '0');
  return {before, at};
}

// The digits in front of the decimal sign: mostly one, as in 0.012 and 1.2e-8.
inline Digits whole_digits_at(const char* at, const char* end, char decimal) {
  if (end - at >= 2 && at[1] == decimal && is_digit(*at))
    return {static_cast<std::uint64_t>(*at - '0'), at + 1};
  return digits_at(at, end, 0);
}

// "e-10": its value and where it ends, `at` itself for what is no exponent of one to three digits.
struct Exponent {
  int value = 0;
  const char* end = nullptr;
};

inline Exponent exponent_at(const char* at, const char* end) {
  const char* digit = at + 1;
  const bool negative = digit != end && *digit == '-';
  if (digit != end && (*digit == '-' || *digit == '+')) ++digit;
  if (end - digit > 2 && is_digit(digit[0]) && is_digit(digit[1]) && !is_digit(digit[2])) {  // as mostly
    const int two = 10 * (digit[0] - '0') + (digit[1] - '0');
    return {negative ? -two : two, digit + 2};
  }
  const char* const first = digit;
  int value = 0;
  for (; digit != end && is_digit(*digit) && digit - first < 4; ++digit) value = value * 10 + (*digit - '0');
  if (digit == first || digit - first > 3) return {0, at};
  return {negative ? -value : value, digit};
}

}  // namespace plain_decimal_parts

/// The usual case, a decimal of few digits: m * 10^k and m / 10^k are rounded once, so they are the nearest
/// double, while m < 2^53 and k <= 22, since m and 10^k are doubles then (W. D. Clinger, How to read floating
/// point numbers accurately, PLDI 1990, doi 10.1145/93542.93557). Length 0 for everything else.
inline PlainNumber plain_decimal(std::string_view text, char decimal) {
  static constexpr std::array<double, 23> powers{1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                                 1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                                 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
  constexpr std::uint64_t most = std::uint64_t{1} << 53U;
  constexpr std::ptrdiff_t most_digits = 19;  // so many do not overflow
  const char* at = text.data();
  const char* const end = at + text.size();
  const bool negative = at != end && *at == '-';
  at += static_cast<int>(at != end && (*at == '-' || *at == '+'));
  plain_decimal_parts::Digits digits = plain_decimal_parts::whole_digits_at(at, end, decimal);
  std::ptrdiff_t count = digits.end - at;
  std::ptrdiff_t decimals = 0;
  at = digits.end;
  if (at != end && *at == decimal) {
    digits = plain_decimal_parts::digits_at(at + 1, end, digits.value);
    decimals = digits.end - at - 1;
    if (decimals == 0) return {};
    count += decimals;
    at = digits.end;
  }
  if (count == 0 || count > most_digits || digits.value >= most) return {};
  std::ptrdiff_t power = -decimals;
  if (at != end && is_letter(*at)) {
    if (*at != 'e' && *at != 'E') return {};
    const plain_decimal_parts::Exponent exponent = plain_decimal_parts::exponent_at(at, end);
    if (exponent.end == at || (exponent.end != end && is_letter(*exponent.end))) return {};
    power += exponent.value;
    at = exponent.end;
  }
  const std::ptrdiff_t size = std::abs(power);
  if (size >= static_cast<std::ptrdiff_t>(powers.size())) return {};
  const auto mantissa = static_cast<double>(digits.value);
  const double scale = powers[static_cast<std::size_t>(size)];
  const double value = power < 0 ? mantissa / scale : mantissa * scale;
  // The sign by its bit: a branch would be guessed wrong half the time.
  const std::uint64_t sign = std::uint64_t{negative} << 63U;
  return {std::bit_cast<double>(std::bit_cast<std::uint64_t>(value) | sign),
          static_cast<std::size_t>(at - text.data())};
}

}  // namespace firstedge
