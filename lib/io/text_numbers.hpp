// Numbers and fields in lines of text: no locale, no allocation.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

namespace firstedge {

/// How a file writes its fields. delimiter ' ' stands for any run of blanks and tabs.
struct TextDialect {
  char delimiter = ',';
  char decimal = '.';
  friend bool operator==(const TextDialect&, const TextDialect&) = default;
};

std::string_view without_blanks(std::string_view text);

/// A number read from the front of a text.
struct LeadingNumber {
  double value = 0;        ///< NaN for the words nan, inf and infinity, whatever their sign and case
  std::size_t length = 0;  ///< bytes that it takes; 0 if no number stands there
  bool in_range = true;    ///< false where the number is beyond the largest double (then value is 0)
};

/// Reads what std::from_chars reads (general format, nearest double), with an optional '+' and the decimal
/// sign given; a number too small for a double is 0. With a decimal comma, a digit must follow the comma, and
/// a number of more than 127 bytes is none.
LeadingNumber leading_number(std::string_view text, char decimal);

/// The whole field as one number in range, or nothing.
std::optional<double> parse_number(std::string_view field, char decimal);

enum class FieldKind : std::uint8_t {
  empty,
  number,  ///< also nan and inf, and numbers beyond the range of a double
  lost,    ///< a word or mark that stands where an instrument had no number: "--", "OVERFLOW", "n/a"
  text
};
FieldKind kind_of_field(std::string_view field, char decimal);

/// A field without the blanks around it and without its quotes; "" inside quotes is left as it is.
struct Field {
  std::string_view text;
  bool quoted = false;
};

/// Walks over the fields of a line. Delimiters inside double quotes do not count. A delimiter at the end
/// of the line has an empty field behind it; an empty line has one empty field, or none if the delimiter is
/// white space.
class FieldCursor {
 public:
  FieldCursor(std::string_view line, char delimiter);
  std::optional<Field> next();

 private:
  std::string_view rest_;
  char delimiter_;
  bool done_;
};

}  // namespace firstedge
