#include "firstedge/report/base64.hpp"

#include <cstdint>
#include <string_view>

namespace firstedge {

std::string base64(std::span<const std::byte> bytes) {
  constexpr std::string_view letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  constexpr std::size_t in = 3, out = 4;
  std::string text;
  text.reserve((bytes.size() + in - 1) / in * out);
  for (std::size_t at = 0; at < bytes.size(); at += in) {
    std::uint32_t bits = 0;
    for (std::size_t i = 0; i < in; ++i)
      bits = bits << 8U | (at + i < bytes.size() ? std::to_integer<std::uint32_t>(bytes[at + i]) : 0U);
    const std::size_t held = bytes.size() - at;
    for (std::size_t i = 0; i < out; ++i)
      text += i <= held ? letters[bits >> (6U * (out - 1 - i)) & 0x3FU] : '=';
  }
  return text;
}

}  // namespace firstedge
