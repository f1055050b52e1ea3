#include "firstedge/io/npy_header.hpp"

#include "firstedge/core/error.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstring>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::string_view magic = "\x93NUMPY";

// Walks over the header's text; every step either fits the grammar or throws with the byte where it does not.
class HeaderText {
 public:
  HeaderText(std::string_view text, std::string place, std::uint64_t offset)
      : text_(text), place_(std::move(place)), offset_(offset) {}

  NpyHeader dictionary() {
    NpyHeader header;
    std::array<bool, 3> seen{};
    expect('{');
    while (!accept('}')) {
      const std::string key = quoted();
      expect(':');
      const auto once = [&](std::size_t which) {
        if (std::exchange(seen.at(which), true)) refuse(fmt::format("gives '{}' twice", key));
      };
      if (key == "descr") {
        once(0);
        header.coding = descr();
      } else if (key == "fortran_order") {
        once(1);
        header.fortran_order = truth();
      } else if (key == "shape") {
        once(2);
        header.shape = shape();
      } else {
        refuse(fmt::format("has the key '{}'", key));
      }
      if (accept(',')) continue;
      expect('}');
      break;
    }
    skip_space();
    if (position_ != text_.size()) refuse("goes on after the dictionary");
    if (!std::all_of(seen.begin(), seen.end(), [](bool one) { return one; })) {
      refuse("lacks one of 'descr', 'fortran_order' and 'shape'");
    }
    return header;
  }

 private:
  [[noreturn]] void refuse(const std::string& problem) const {
    throw Error(fmt::format("{}, byte {}", place_, offset_ + position_), "the .npy header " + problem,
                "write the array with numpy.save");
  }

  void skip_space() {
    while (position_ < text_.size() &&
           std::string_view(" \t\r\n").find(text_[position_]) != std::string_view::npos) {
      ++position_;
    }
  }

  bool accept(char wanted) {
    skip_space();
    if (position_ == text_.size() || text_[position_] != wanted) return false;
    ++position_;
    return true;
  }

  void expect(char wanted) {
    if (!accept(wanted)) refuse(fmt::format("should have '{}' here", wanted));
  }

  std::string quoted() {
    skip_space();
    const char quote = position_ < text_.size() ? text_[position_] : '\0';
    if (quote != '\'' && quote != '"') refuse("should have a text in quotes here");
    const std::size_t end = text_.find(quote, position_ + 1);
    if (end == std::string_view::npos) refuse("has a text without its closing quote");
    std::string found(text_.substr(position_ + 1, end - position_ - 1));
    if (found.find('\\') != std::string::npos) refuse("has a backslash in a text");
    position_ = end + 1;
    return found;
  }

  bool truth() {
    skip_space();
    for (const auto& [word, value] :
         {std::pair{std::string_view("True"), true}, {std::string_view("False"), false}}) {
      if (text_.substr(position_).starts_with(word)) {
        position_ += word.size();
        return value;
      }
    }
    refuse("should have True or False for 'fortran_order'");
  }

  std::vector<std::uint64_t> shape() {
    std::vector<std::uint64_t> sizes;
    expect('(');
    bool comma_last = true;
    while (!accept(')')) {
      if (!comma_last) refuse("should have ',' or ')' in the shape");
      sizes.push_back(whole_number());
      if (sizes.size() > 32) refuse("has a shape of more than 32 axes");  // NumPy's own limit
      comma_last = accept(',');
    }
    if (sizes.size() == 1 && !comma_last) refuse("has a number in brackets for the shape, not a tuple");
    return sizes;
  }

  std::uint64_t whole_number() {
    skip_space();
    std::uint64_t number = 0;
    const char* first = text_.data() + position_;
    const auto [end, failure] = std::from_chars(first, text_.data() + text_.size(), number);
    if (failure == std::errc::result_out_of_range) refuse("has a size too large for any file");
    if (failure != std::errc()) refuse("should have a size, a whole number not below 0, here");
    position_ += static_cast<std::size_t>(end - first);
    if (position_ < text_.size() && text_[position_] == 'L') ++position_;  // as Python 2 wrote it
    return number;
  }

  SampleCoding descr() {
    skip_space();
    if (position_ < text_.size() && text_[position_] == '[') refuse("tells of a structured type");
    const std::string word = quoted();
    constexpr std::array<std::pair<std::string_view, SampleType>, 8> types{{{"i1", SampleType::int8},
                                                                            {"u1", SampleType::uint8},
                                                                            {"i2", SampleType::int16},
                                                                            {"u2", SampleType::uint16},
                                                                            {"i4", SampleType::int32},
                                                                            {"u4", SampleType::uint32},
                                                                            {"f4", SampleType::float32},
                                                                            {"f8", SampleType::float64}}};
    const char order = word.empty() ? '\0' : word.front();
    const auto* type = std::find_if(types.begin(), types.end(), [&](const auto& row) {
      return !word.empty() && row.first == std::string_view(word).substr(1);
    });
    const bool known = type != types.end() &&
                       (order == '<' || order == '>' || (order == '|' && bytes_of(type->second) == 1));
    if (!known)
      refuse(fmt::format("tells of samples of type '{}', not one of i1 i2 i4 u1 u2 u4 f4 f8", word));
    return {type->second, order == '>'};
  }

  std::string_view text_;
  std::string place_;
  std::uint64_t offset_;
  std::size_t position_ = 0;
};

std::uint64_t little_endian(std::span<const std::byte> bytes) {
  std::uint64_t number = 0;
  for (std::size_t i = bytes.size(); i-- > 0;)
    number = number << 8U | std::to_integer<std::uint64_t>(bytes[i]);
  return number;
}

}  // namespace

bool starts_as_npy(std::span<const std::byte> head) {
  return head.size() >= magic.size() && std::memcmp(head.data(), magic.data(), magic.size()) == 0;
}

NpyHeader read_npy_header(const ByteSource& source) {
  const auto refuse = [&](const std::string& problem) {
    throw Error(source.name(), problem, "write the array with numpy.save");
  };
  constexpr std::size_t longest_start = 12;  // magic, version, 4 bytes of length
  const std::vector<std::byte> start = source.head(longest_start);
  if (start.empty()) refuse("is empty");
  if (!starts_as_npy(start)) refuse("does not start as a .npy file");
  if (start.size() < 10) refuse("ends inside its .npy header");
  const unsigned major = std::to_integer<unsigned>(start[6]);
  const unsigned minor = std::to_integer<unsigned>(start[7]);
  if (major < 1 || major > 3 || minor != 0) {
    refuse(fmt::format(".npy version {}.{}, not 1.0, 2.0 or 3.0", major, minor));
  }
  const std::size_t length_bytes = major == 1 ? 2 : 4;
  const std::size_t text_offset = 8 + length_bytes;
  if (start.size() < text_offset) refuse("ends inside its .npy header");
  const std::uint64_t length = little_endian(std::span(start).subspan(8, length_bytes));
  if (length > most_npy_header_bytes) {
    refuse(fmt::format("a .npy header of {} bytes, more than {}", length, most_npy_header_bytes));
  }
  if (length > source.size() - text_offset) refuse("ends inside its .npy header");
  const std::vector<std::byte> bytes = source.read(text_offset, static_cast<std::size_t>(length));
  std::string text;
  for (const std::byte byte : bytes) {
    if (std::to_integer<unsigned>(byte) > 0x7e) {
      throw Error(fmt::format("{}, byte {}", source.name(), text_offset + text.size()),
                  "the .npy header is not ASCII", "write the array with numpy.save");
    }
    text += std::to_integer<char>(byte);
  }
  NpyHeader header = HeaderText(text, source.name(), text_offset).dictionary();
  header.data_offset = text_offset + length;
  return header;
}

}  // namespace firstedge
