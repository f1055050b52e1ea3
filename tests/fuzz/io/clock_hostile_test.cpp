// Hostile and damaged files of the clock: CGGTTS, leap seconds and tables of counter readings. Each gives one
// sentence or good lines, none a crash. Then random damage.
#include "firstedge/io/cggtts_file.hpp"
#include "firstedge/io/leap_second_file.hpp"
#include "firstedge/io/second_edge_file.hpp"

#include "support/published_leap_seconds.hpp"
#include "support/random.hpp"
#include "support/sentence_of.hpp"
#include "support/skerry_tracks.hpp"

#include <algorithm>
#include <ostream>
#include <span>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

ByteSource bytes(const std::string& text) {
  const auto view = std::as_bytes(std::span(text));
  return ByteSource::from_bytes({view.begin(), view.end()}, "file");
}

using Read = void (*)(const std::string&);
void read_tracks(const std::string& text) {
  read_cggtts(bytes(text));
}
void read_leap(const std::string& text) {
  parse_leap_second_list(text, "file");
}
void read_edges(const std::string& text) {
  read_second_edges(bytes(text));
}

struct Case {
  std::string name;
  Read read = nullptr;
  std::string bytes;
  std::string sentence;
};
std::ostream& operator<<(std::ostream& out, const Case& one) {
  return out << one.name;
}

std::string repeated(const std::string& text, int times) {
  std::string all;
  for (int i = 0; i < times; ++i) all += text;
  return all;
}

std::string replaced(std::string text, const std::string& old, const std::string& with) {
  return text.replace(text.find(old), old.size(), with);
}

const std::string first_line = "CGGTTS     GENERIC DATA FORMAT VERSION = 2E\n";

// A header with these lines and a checksum that holds.
std::string header(const std::string& lines) {
  std::string summed;
  for (const char c : first_line + lines) summed += c == '\n' ? std::string() : std::string(1, c);
  summed += "CKSUM = ";
  return first_line + lines + "CKSUM = " + test::checksum_of(summed) + "\n\n";
}

std::string track(const std::string& fields) {
  return header("LAB = SKN\n") + test::dual_titles + test::with_checksum(fields);
}

const std::string sound_track =
    "G05 FF 61369 001000 0780 452  548     +723788    +14       -302    -14   25 076  325  -36   32   -3   "
    "20  "
    "+20   3  0  0 L3P ";

std::vector<Case> header_cases() {
  const auto one = [](const std::string& name, const std::string& text, const std::string& sentence) {
    return Case{"cggtts_" + name, read_tracks, text, sentence};
  };
  return {
      one("empty", "", "file: does not begin with a line CGGTTS"),
      one("binary", std::string("\x00\x01\x02\xff", 4), "does not begin with a line CGGTTS"),
      one("utf_16",
          "\xff\xfe"
          "C\0G\0",
          "byte order mark of UTF-16"),
      one("older_version", "GGTTS GPS DATA FORMAT VERSION = 01\n", "does not begin with a line CGGTTS"),
      one("version_02", replaced(first_line, "2E", "02"), "line 1: is of version '02'"),
      one("version_missing", "CGGTTS\n", "line 1: is of version ''"),
      one("only_the_first_line", first_line, "ends inside its header"),
      one("cut_in_the_header", first_line + "LAB = SKN\nREF", "ends inside its header"),
      one("header_without_end", first_line + repeated("COMMENTS = x\n", 500),
          "200 lines of header and no CKSUM"),
      one("header_line_huge", first_line + "LAB = " + std::string(5000, 'x') + "\n", "is 5006 bytes long"),
      one("line_of_megabytes", first_line + std::string(3'000'000, ' '), "is longer than 1 MiB"),
      one("checksum_wrong", first_line + "LAB = SKN\nCKSUM = 00\n", "the header has the checksum"),
      one("checksum_missing", first_line + "CKSUM\n", "the header has the checksum"),
      one("checksum_empty", first_line + "CKSUM =\n", "the header has the checksum"),
      one("checksum_blank", first_line + "CKSUM =    \n", "the header has the checksum"),
      one("checksum_no_number", first_line + "CKSUM = ZZ\n", "and says 'ZZ'"),
      one("checksum_too_long", first_line + "CKSUM = 0000D7\n", "and says '0000D7'"),
      one("position_no_number", header("X = here\n"), "line 2: X is 'here'"),
      one("position_huge", header("X = 1e999 m\n"), "line 2: X is '1e999 m'"),
      one("delay_no_number", header("CAB DLY = long\n"), "CAB DLY is 'long'"),
      one("delay_list_broken", header("INT DLY = 1 ns (GPS P1), ) ns (\n"), "INT DLY is ') ns ('"),
      one("no_titles", header("") + "G05 FF\nG05 FF\n", "lacks the line of titles"),
      one("ends_after_the_titles", header("") + test::dual_titles, "has no good track among 0 lines"),
  };
}

std::vector<Case> track_cases() {
  const auto bad = [](const std::string& name, const std::string& old, const std::string& with) {
    return Case{"cggtts_track_" + name, read_tracks, track(replaced(sound_track, old, with)),
                "has no good track among 1 lines"};
  };
  return {
      bad("satellite_unknown", "G05", "X05"),
      bad("satellite_zero", "G05", "G00"),
      bad("satellite_negative", "G05", "G-5"),
      bad("satellite_long", "G05", "G0005"),
      bad("class_no_number", "FF", "QQ"),
      bad("day_negative", "61369", "-1369"),
      bad("day_huge", "61369", "9999999999999999999999"),
      bad("day_before_gps", "61369", "44243"),
      bad("start_of_60_minutes", "001000", "006000"),
      bad("start_of_61_seconds", "001000", "000061"),
      bad("start_short", "001000", "1000"),
      bad("length_zero", "0780", "0000"),
      bad("elevation_text", "452", "4x2"),
      bad("system_of_20_digits", "-302", "-99999999999999999302"),
      bad("system_no_number", "-302", "nan"),
      bad("system_real", "-302", "-3.2"),
      bad("code_long", "L3P", "L3PXXXXXXXX"),
      bad("issue_negative", "076", "-76"),
      bad("field_missing", " 076", ""),
      bad("field_empty_line", "G05", ""),
  };
}

std::vector<Case> leap_cases() {
  const std::string sound = test::published_leap_second_text();
  const auto one = [&](const std::string& name, const std::string& text, const std::string& sentence) {
    return Case{"leap_" + name, read_leap, text, sentence};
  };
  return {
      one("empty", "", "lacks one of the lines"),
      one("no_rows", "#$ 1\n#@ 2\n#h 1 2 3 4 5\n", "has no line with a leap second"),
      one("binary", std::string(20, '\xff'), "is no time in whole seconds"),
      one("no_digest", replaced(sound, "#h", "#x"), "lacks one of the lines"),
      one("digest_short", replaced(sound, " 5923836a", ""), "does not have five words"),
      one("digest_long", replaced(sound, "5923836a", "5923836a 1"), "does not have five words"),
      one("digest_no_hexadecimal", replaced(sound, "5923836a", "g"), "'g' is no 32-bit word"),
      one("digest_beyond_32_bits", replaced(sound, "5923836a", "15923836a"), "is no 32-bit word"),
      one("digest_twice", sound + "#h 1 2 3 4 5\n", "has a second #h line"),
      one("expiry_twice", sound + "#@ 5\n", "has a second #@ line"),
      one("second_negative", replaced(sound, "3692217600", "-5"), "'-5' is no time in whole seconds"),
      one("second_huge", replaced(sound, "3692217600", "99999999999999999999"),
          "is no time in whole seconds"),
      one("difference_real", replaced(sound, "\t37", "\t37.5"), "'37.5' is no TAI - UTC"),
      one("difference_huge", replaced(sound, "\t37", "\t370000000"), "is no TAI - UTC"),
      one("step_of_two", replaced(sound, "\t37", "\t38"), "is a step of 2 s"),
      one("not_at_midnight", replaced(sound, "3692217600", "3692217601"), "does not begin with a day"),
      one("falls_back", replaced(sound, "3692217600", "3644697600"), "is not later than the line before"),
      one("three_numbers", replaced(sound, "\t37", "\t37 5"), "has more than two numbers"),
      one("expiry_changed", replaced(sound, "4023129600", "4023129601"), "its numbers have the SHA-1"),
  };
}

std::vector<Case> edge_cases() {
  const auto one = [](const std::string& name, const std::string& text, const std::string& sentence) {
    return Case{"edges_" + name, read_edges, text, sentence};
  };
  return {
      one("empty", "", "file: is empty"),
      one("remarks_only", "# nothing\n#\n", "file: is empty"),
      one("no_counter", "second\n2026-01-01T00:00:00Z\n", "names no column counter"),
      one("column_unknown", "counter,colour\n", "'colour' is no column name"),
      one("column_twice", "counter,counter\n", "'counter' is no column name, or comes twice"),
      one("no_reading", "counter\nx\n\n", "has no counter reading among 1 lines"),
      one("counter_huge", "counter\n99999999999999999999\n", "has no counter reading"),
      one("counter_beyond_limits", "counter\n4611686018427387904\n", "has no counter reading"),
      one("counter_exponent", "counter\n1e5\n", "has no counter reading"),
      one("counter_two_points", "counter\n1.2.3\n", "has no counter reading"),
      one("counter_point_only", "counter\n.\n5.\n", "has no counter reading among 2 lines"),
      one("counter_nan", "counter\nnan\ninf\n", "has no counter reading among 2 lines"),
      one("correction_of_hours", "counter,correction\n1,3600\n", "has no counter reading"),
      one("correction_in_volts", "counter,correction\n1,3 V\n", "has no counter reading"),
      one("second_of_no_day", "counter,second\n1,2026-02-30T00:00:00Z\n", "has no counter reading"),
  };
}

void expect_clean(const std::string& sentence) {
  EXPECT_LT(sentence.size(), 1300U);  // three parts of at most 400 bytes
  EXPECT_EQ(std::count_if(sentence.begin(), sentence.end(), [](unsigned char c) { return c < 0x20; }), 0)
      << sentence;
}

class HostileClockFile : public testing::TestWithParam<Case> {};

TEST_P(HostileClockFile, gives_one_sentence) {
  const std::string sentence = test::sentence_of([] { GetParam().read(GetParam().bytes); });
  EXPECT_THAT(sentence, HasSubstr(GetParam().sentence));
  EXPECT_THAT(sentence, HasSubstr("; ")) << "a remedy follows";
  expect_clean(sentence);
}

INSTANTIATE_TEST_SUITE_P(header, HostileClockFile, testing::ValuesIn(header_cases()),
                         [](const auto& one) { return one.param.name; });
INSTANTIATE_TEST_SUITE_P(track, HostileClockFile, testing::ValuesIn(track_cases()),
                         [](const auto& one) { return one.param.name; });
INSTANTIATE_TEST_SUITE_P(leap, HostileClockFile, testing::ValuesIn(leap_cases()),
                         [](const auto& one) { return one.param.name; });
INSTANTIATE_TEST_SUITE_P(edges, HostileClockFile, testing::ValuesIn(edge_cases()),
                         [](const auto& one) { return one.param.name; });

TEST(hostile_clock_file, the_sound_track_is_read) {
  EXPECT_EQ(read_cggtts(bytes(track(sound_track))).account.good, 1U);
}

TEST(hostile_clock_file, good_tracks_around_bad_ones_are_kept) {
  const std::string text = track(sound_track) + "\n \n" + std::string(900, '9') + "\n" + sound_track +
                           "00 x\n" + test::with_checksum(sound_track);
  const CggttsFile file = read_cggtts(bytes(text));
  EXPECT_EQ(file.account.good, 2U);
  EXPECT_EQ(file.account.bad, 2U);
}

TEST(hostile_clock_file, many_bad_lines_take_no_memory) {
  const CggttsFile file = read_cggtts(bytes(track(sound_track) + repeated("G05 FF\n", 200'000)));
  EXPECT_EQ(file.account.bad, 200'000U);
  EXPECT_EQ(file.account.problems.size(), CggttsAccount::most_told);
}

// Each byte of a sound file changed, cut or doubled at random: a sentence, or what is good.
TEST(hostile_clock_file, random_damage_gives_a_sentence_or_good_lines) {
  const auto stations = test::skerry_tracks({.satellites = 2}, {"SKN"}, [](auto, auto) { return 1e-7; });
  const std::vector<std::pair<Read, std::string>> sound{
      {read_tracks, test::cggtts_text(stations.front()).substr(0, 3000)},
      {read_leap, test::published_leap_second_text()},
      {read_edges,
       "counter,second,correction\n" + repeated("123456789.125,2026-11-25T06:37:00Z,-1.5 ns\n", 20)}};
  test::Random random(20261125);
  for (const auto& [read, text] : sound) {
    ASSERT_EQ(test::sentence_of([&] { read(text); }), "");
    for (int round = 0; round < 1500; ++round) {
      std::string damaged = text;
      for (int change = 0; change < 3; ++change) {
        const auto at = static_cast<std::size_t>(random.uniform(0, static_cast<double>(damaged.size())));
        if (random.uniform(0, 1) < 0.7) {
          damaged[at] = "0917+-.,= \n\r\t\x01\x80(A#"[static_cast<std::size_t>(random.uniform(0, 18))];
        } else {
          damaged.erase(at, static_cast<std::size_t>(random.uniform(1, 30)));
        }
      }
      expect_clean(test::sentence_of([&] { read(damaged); }));
    }
  }
}

}  // namespace
}  // namespace firstedge
