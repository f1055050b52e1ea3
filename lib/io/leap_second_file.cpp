#include "firstedge/io/leap_second_file.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/text_numbers.hpp"

#include <array>
#include <charconv>
#include <cstdint>
#include <optional>
#include <span>
#include <system_error>

#include <fmt/format.h>

namespace firstedge {
namespace {

// 1970-01-01 less 1900-01-01: 25,567 days of 86,400 s (RFC 5905, figure 4).
constexpr std::int64_t ntp_of_1970 = 2'208'988'800;
// NTP seconds of the year 10000 and later have no calendar date here.
constexpr std::int64_t last_ntp_second = 255'000'000'000;
constexpr std::int64_t seconds_a_day = 86400;
constexpr std::size_t most_rows = 1000;  // two a year until 2470

template <class Number>
std::optional<Number> whole(std::string_view text, int base = 10) {
  Number value{};
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (fault != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

// The next word, taken from the front of the text.
std::string_view take_word(std::string_view& text) {
  text = without_blanks(text);
  const std::string_view word = text.substr(0, text.find_first_of(" \t"));
  text.remove_prefix(word.size());
  return word;
}

class ListParser {
 public:
  explicit ListParser(std::string place) : place_(std::move(place)) {}

  void add(std::string_view line) {
    ++line_;
    line = without_blanks(line);
    if (line.ends_with('\r')) line.remove_suffix(1);
    if (line.starts_with("#$")) return keep_time(updated_, line.substr(2), "#$");
    if (line.starts_with("#@")) return keep_time(expires_, line.substr(2), "#@");
    if (line.starts_with("#h")) return keep_digest(line.substr(2));
    line = without_blanks(line.substr(0, line.find('#')));
    if (!line.empty()) keep_row(line);
  }

  LeapSecondList finish() {
    if (!updated_ || !expires_ || !digest_)
      throw Error(place_, "lacks one of the lines #$ (updated), #@ (expires) and #h (SHA-1)",
                  "give a whole leap-seconds.list as the time zone package has it");
    if (list_.rows.empty())
      throw Error(place_, "has no line with a leap second", "give a whole leap-seconds.list");
    const std::string digits = fmt::format("{}{}{}", *updated_, *expires_, digits_);
    const std::string found = sha1(std::as_bytes(std::span(digits)));
    if (found != *digest_)
      throw Error(place_, fmt::format("its numbers have the SHA-1 {}, the line #h says {}", found, *digest_),
                  "the file is damaged or edited: install the time zone package again");
    list_.name = place_;
    list_.updated = instant(*updated_);
    list_.expires = instant(*expires_);
    return std::move(list_);
  }

 private:
  static Instant instant(std::int64_t ntp) { return {TimeScale::utc, ntp - ntp_of_1970, 0}; }

  [[noreturn]] void refuse(const std::string& problem, const std::string& remedy) const {
    throw Error(fmt::format("{}, line {}", place_, line_), problem, remedy);
  }

  std::int64_t ntp_second(std::string_view word) const {
    const auto value = whole<std::int64_t>(word);
    if (!value || *value < 0 || *value > last_ntp_second)
      refuse(fmt::format("'{}' is no time in whole seconds of 1900-01-01", word), "give an NTP time stamp");
    return *value;
  }

  void keep_time(std::optional<std::int64_t>& kept, std::string_view text, const char* mark) {
    if (kept) refuse(fmt::format("has a second {} line", mark), "give each once");
    kept = ntp_second(take_word(text));
  }

  void keep_digest(std::string_view text) {
    if (digest_) refuse("has a second #h line", "give it once");
    std::string digest;
    for (std::string_view word = take_word(text); !word.empty(); word = take_word(text)) {
      const auto value = whole<std::uint32_t>(word, 16);
      if (!value) refuse(fmt::format("'{}' is no 32-bit word in hexadecimal", word), "give five of them");
      digest += fmt::format("{:08x}", *value);
      if (digest.size() > 40) break;
    }
    if (digest.size() != 40) refuse("the SHA-1 does not have five words", "give five of them");
    digest_ = digest;
  }

  void keep_row(std::string_view line) {
    const std::string_view begin = take_word(line);
    const std::string_view difference = take_word(line);
    if (!without_blanks(line).empty()) refuse("has more than two numbers", "put a # before a remark");
    const std::int64_t second = ntp_second(begin) - ntp_of_1970;
    const auto step = whole<std::int64_t>(difference);
    constexpr std::int64_t most_difference = 100'000;
    if (!step || *step < -most_difference || *step > most_difference)
      refuse(fmt::format("'{}' is no TAI - UTC in whole seconds", difference), "give it like 37");
    check_step({second, *step});
    list_.rows.push_back({second, *step});
    digits_ += fmt::format("{}{}", begin, difference);
  }

  void check_step(const LeapSecondList::Row& row) const {
    if (row.utc_second % seconds_a_day != 0)
      refuse("does not begin with a day of UTC", "leap seconds end a day of UTC");
    if (list_.rows.empty()) return;
    const LeapSecondList::Row& before = list_.rows.back();
    if (row.utc_second <= before.utc_second)
      refuse("is not later than the line before", "put the lines in the order of time");
    const std::int64_t step = row.tai_minus_utc_s - before.tai_minus_utc_s;
    if (step != 1 && step != -1)
      refuse(fmt::format("is a step of {} s", step), "a leap second is one second");
    if (list_.rows.size() == most_rows) refuse("is one leap second too many", "give at most 1000");
  }

  std::string place_;
  std::uint64_t line_ = 0;
  std::optional<std::int64_t> updated_, expires_;
  std::optional<std::string> digest_;
  std::string digits_;
  LeapSecondList list_;
};

}  // namespace

LeapSecondList parse_leap_second_list(std::string_view text, const std::string& place) {
  ListParser parser(place);
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    parser.add(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return parser.finish();
}

LeapSecondList read_leap_second_list(const std::filesystem::path& file) {
  return parse_leap_second_list(read_text_file(file, most_leap_second_bytes), file.string());
}

}  // namespace firstedge
