#include "firstedge/report/words.hpp"

#include <algorithm>
#include <array>
#include <cstdint>

namespace firstedge {
namespace {

struct Letter {
  char32_t code = 0;
  std::size_t bytes = 1;
  bool valid = false;
};

// The first letter of non-empty text, by RFC 3629: no overlong forms, no surrogates, nothing over U+10FFFF.
Letter first_letter(std::string_view text) {
  const auto byte = [&](std::size_t at) { return static_cast<std::uint8_t>(text[at]); };
  if (byte(0) < 0x80) return {byte(0), 1, true};
  const std::size_t bytes = byte(0) >= 0xF0 ? 4 : byte(0) >= 0xE0 ? 3 : 2;
  if (byte(0) < 0xC2 || byte(0) > 0xF4 || text.size() < bytes) return {};
  char32_t code = byte(0) & (0x7FU >> bytes);
  for (std::size_t at = 1; at < bytes; ++at) {
    if ((byte(at) & 0xC0U) != 0x80U) return {};
    code = code << 6U | (byte(at) & 0x3FU);
  }
  constexpr std::array<char32_t, 5> lowest{0, 0, 0x80, 0x800, 0x10000};
  if (code < lowest.at(bytes) || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) return {};
  return {code, bytes, true};
}

struct Range {
  char32_t first, last;
};

template <std::size_t size>
bool within(const std::array<Range, size>& ranges, char32_t code) {
  return std::any_of(ranges.begin(), ranges.end(),
                     [&](const Range& range) { return code >= range.first && code <= range.last; });
}

// Unicode 15, blocks of combining marks and zero-width letters; and the wide blocks of its Annex 11.
constexpr std::array<Range, 8> zero_width{{{0x300, 0x36F},
                                           {0x483, 0x489},
                                           {0x1AB0, 0x1AFF},
                                           {0x1DC0, 0x1DFF},
                                           {0x200B, 0x200F},
                                           {0x20D0, 0x20FF},
                                           {0xFE00, 0xFE0F},
                                           {0xFE20, 0xFE2F}}};
constexpr std::array<Range, 9> double_width{{{0x1100, 0x115F},
                                             {0x2E80, 0x303E},
                                             {0x3041, 0xA4CF},
                                             {0xAC00, 0xD7A3},
                                             {0xF900, 0xFAFF},
                                             {0xFE30, 0xFE6F},
                                             {0xFF00, 0xFF60},
                                             {0x1F300, 0x1FAFF},
                                             {0x20000, 0x3FFFD}}};
// Unicode Annex 9: marks, embeddings, overrides and isolates of the writing direction; line and paragraph
// separators; the byte order mark. On a page or a terminal they would let a name rearrange what stands beside
// it.
constexpr std::array<Range, 5> rearranging{
    {{0x200E, 0x200F}, {0x2028, 0x202E}, {0x2066, 0x2069}, {0xFEFF, 0xFEFF}, {0xFFFE, 0xFFFF}}};

constexpr std::string_view replacement = "\uFFFD";

std::string cleaned(std::string_view text, bool keep_lines) {
  std::string clean;
  clean.reserve(text.size());
  while (!text.empty()) {
    const Letter letter = first_letter(text);
    const char32_t code = letter.code;
    if (!letter.valid || within(rearranging, code)) {
      clean += replacement;
    } else if (code == '\n' && keep_lines) {
      clean += '\n';
    } else if (code == '\r' && text.substr(1, 1) == "\n") {
      // CR LF is one line break; the LF comes next.
    } else if (code == '\n' || code == '\t' || code == '\r') {
      clean += ' ';
    } else if (code < 0x20 || (code >= 0x7F && code < 0xA0)) {
      clean += '?';
    } else {
      clean += text.substr(0, letter.bytes);
    }
    text.remove_prefix(letter.bytes);
  }
  return clean;
}

std::size_t letter_width(char32_t code) {
  if (within(zero_width, code)) return 0;
  return within(double_width, code) ? 2 : 1;
}

// The bytes of the longest start of text that fits in width columns; at least one letter.
std::size_t fitting_bytes(std::string_view text, std::size_t width) {
  std::size_t bytes = 0, columns = 0;
  while (bytes < text.size()) {
    const Letter letter = first_letter(text.substr(bytes));
    columns += letter_width(letter.code);
    if (columns > width && bytes > 0) break;
    bytes += letter.bytes;
  }
  return bytes;
}

}  // namespace

std::string clean_words(std::string_view text) {
  return cleaned(text, false);
}

std::string clean_lines(std::string_view text) {
  return cleaned(text, true);
}

std::size_t shown_width(std::string_view clean) {
  std::size_t width = 0;
  while (!clean.empty()) {
    const Letter letter = first_letter(clean);
    width += letter_width(letter.code);
    clean.remove_prefix(letter.bytes);
  }
  return width;
}

std::vector<std::string> wrapped(std::string_view clean, std::size_t width) {
  std::vector<std::string> lines{""};
  while (!clean.empty()) {
    const std::size_t space = std::min(clean.find(' '), clean.size());
    std::string_view word = clean.substr(0, space);
    clean.remove_prefix(std::min(space + 1, clean.size()));
    if (word.empty()) continue;
    const bool beside = !lines.back().empty() && shown_width(lines.back()) + 1 + shown_width(word) <= width;
    if (beside) {
      lines.back().append(" ").append(word);
      continue;
    }
    if (!lines.back().empty()) lines.emplace_back();
    while (shown_width(word) > width) {
      const std::size_t bytes = fitting_bytes(word, width);
      lines.back() = word.substr(0, bytes);
      word.remove_prefix(bytes);
      lines.emplace_back();
    }
    lines.back() = word;
  }
  return lines;
}

}  // namespace firstedge
