#include "texts.hpp"

#include <algorithm>
#include <cstdint>

namespace firstedge::python {
namespace {

// The length of the character that starts here, 0 for none: RFC 3629, section 4.
std::size_t character_at(const std::string& text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U; };
  const unsigned first = byte(at);
  if (first < 0x80) return 1;
  const std::size_t length = first >= 0xc2 && first <= 0xdf   ? 2
                             : first >= 0xe0 && first <= 0xef ? 3
                             : first >= 0xf0 && first <= 0xf4 ? 4
                                                              : 0;
  if (length == 0) return 0;
  const unsigned least = first == 0xe0 ? 0xa0 : first == 0xf0 ? 0x90 : 0x80;  // no longer than it need be
  const unsigned most = first == 0xed   ? 0x9f
                        : first == 0xf4 ? 0x8f
                                        : 0xbf;  // no surrogates, nothing beyond U+10FFFF
  if (byte(at + 1) < least || byte(at + 1) > most) return 0;
  for (std::size_t i = 2; i < length; ++i)
    if (byte(at + i) < 0x80 || byte(at + i) > 0xbf) return 0;
  return length;
}

}  // namespace

std::string readable(std::string text) {
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = character_at(text, at);
    if (length == 0) text[at] = '?';
    at += std::max<std::size_t>(1, length);
  }
  return text;
}

}  // namespace firstedge::python
