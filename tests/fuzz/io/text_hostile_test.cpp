// Damaged and hostile text: one sentence with the place, no crash, the good records kept.
#include "support/random.hpp"
#include "support/text_reading.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace std::string_literals;

struct Hostile {
  std::string name;
  std::string bytes;
  std::string sentence;          ///< part of the refusal, or of the first damage
  std::size_t good_records = 0;  ///< that must come through
};

const std::string good = "Time (ns),A (V)\n0,1\n1,2\n2,3\n";
const std::string more = "0,4\n1,5\n2,6\n";

std::string repeated(const std::string& text, std::size_t times) {
  std::string all;
  for (std::size_t i = 0; i < times; ++i) all += text;
  return all;
}

std::string utf16(const std::string& text, bool big_endian, bool mark) {
  std::string wide = !mark ? "" : big_endian ? "\xFE\xFF" : "\xFF\xFE";
  for (const char c : text) wide += big_endian ? "\0"s + c : c + "\0"s;
  return wide;
}

std::string noise_bytes() {
  test::Random random(7);
  std::string bytes;
  for (int i = 0; i < 5000; ++i)
    bytes += static_cast<char>(static_cast<unsigned char>(random.uniform(1, 256)));
  return bytes;
}

std::vector<Hostile> hostile_texts() {
  const std::size_t mebibyte = std::size_t{1} << 20U;
  return {
      {"nothing", "", "run.csv: is empty"},
      {"only_a_byte_order_mark", "\xEF\xBB\xBF", "there is no row of numbers"},
      {"only_a_header", "Time (ns),A (V)\n", "there is no row of numbers"},
      {"only_blank_lines", "\n\n\r\n \n", "there is no row of numbers"},
      {"only_delimiters", ",,,\n,,,\n", "there is no row of numbers"},
      {"one_row", "Time (ns),A (V)\n0,1\n", "line 2: the time stands alone: one row gives no interval"},
      {"one_number", "5\n", "nothing states the sample interval"},
      {"times_alone", "Time (ns)\n0\n1\n2\n", "no column is left for a voltage"},
      {"utf16_little_endian", utf16(good, false, true), "byte order mark of UTF-16"},
      {"utf16_big_endian", utf16(good, true, true), "byte order mark of UTF-16"},
      {"utf16_unmarked", utf16(good, false, false), "starts with NUL bytes"},
      {"nul_bytes", std::string(3000, '\0'), "starts with NUL bytes"},
      {"noise", noise_bytes(), "there is no row of numbers"},
      {"nul_in_a_field", good + "0,4\n1,\0005\n"s, "line 6: field 2 is '?5', not a number", 1},
      {"nul_bytes_at_the_end", good + more + "\n" + std::string(5000, '\0'), "line 9: field 1 is", 2},
      {"garbage_at_the_end", good + more + "\n\x01\x02\x7f\n", "line 9", 2},
      {"a_field_missing", good + "0,4\n1\n2,6\n" + more, "line 6: there are 1 fields where 2 are needed", 2},
      {"a_field_too_many", good + "0,4\n1,5,9\n2,6\n" + more, "line 6: field 3 is '9' where the rows have 2",
       2},
      {"an_empty_voltage", good + "0,4\n1,\n2,6\n" + more, "line 6: field 2 is empty", 2},
      {"an_empty_time", good + "0,4\n,5\n2,6\n" + more, "line 6: field 1 is empty", 2},
      {"a_word_for_a_voltage", good + "0,4\n1,OVERFLOW\n2,6\n" + more, "field 2 is 'OVERFLOW', not a number",
       2},
      {"a_mark_for_a_voltage", good + "0,4\n1,--\n2,6\n" + more, "line 6: field 2 is '--', not a number", 2},
      {"a_voltage_out_of_range", good + "0,4\n1,1e999\n2,6\n" + more, "'1e999', beyond the range of a number",
       2},
      {"a_time_out_of_range", good + "0,4\n1e999,5\n2,6\n" + more, "'1e999', beyond the range", 2},
      {"a_time_that_is_nan", good + "0,4\nnan,5\n2,6\n" + more, "line 6: the time or the count in this row",
       2},
      {"a_time_that_is_inf", good + "0,4\ninf,5\n2,6\n" + more, "line 6: the time or the count in this row",
       2},
      {"times_that_fall", good + "\n0,1\n1,2\n2,3\n1.5,4\n3,5\n\n" + more,
       "line 9: the time goes back by 0.5", 2},
      {"equal_times", good + "\n0,1\n1,2\n1,3\n2,4\n\n" + more, "line 8: the time is equal to the one before",
       2},
      {"a_missing_row", good + "\n0,1\n1,2\n3,4\n4,5\n\n" + more, "line 8: the time jumps by 2", 2},
      {"all_times_equal", "t,A\n5,1\n5,2\n5,3\n", "the time"},
      {"uneven_sampling", "t,A\n0,1\n1,2\n2.3,3\n3.9,4\n6,5\n9,6\n", "the time jumps by"},
      {"times_too_large", "t,A\n-1e308,1\n0,2\n1e308,3\n", "the time"},
      {"times_too_small", "t (ps),A\n0,1\n1e-320,2\n2e-320,3\n", "out of the range of a number in seconds"},
      {"a_text_between_rows", good + "0,4\nwhat is this\n1,5\n" + more, "line 6: is neither a row of numbers",
       2},
      {"another_delimiter", good + "0,4\n1;5\n2,6\n" + more, "line 6", 2},
      {"another_decimal_sign", "t;A\n0,0;1,5\n0,1;2,5\n0,2;3,5\n0.3;4.5\n", "line 5: field 1 is '0.3'"},
      {"comma_for_everything", "0,00,1,50\n0,01,1,60\n0,02,1,70\n",
       "between the fields and for the decimal sign"},
      {"a_quote_left_open", good + "0,4\n\"1,5\n2,6\n" + more, "line 6: field 1 is '\"1', not a number", 2},
      {"a_line_cut_off", good + "0,4\n1,5\n2", "line 7: there are 1 fields", 1},
      {"names_that_change", good + "Time (ns),B (V)\n" + more, "line 5: the columns are named otherwise", 1},
      {"a_first_line_too_long", std::string(mebibyte + 1, '1'), "run.csv, line 1: is longer than 1 MiB"},
      {"a_line_too_long", good + more + std::string(2 * mebibyte, 'x') + "\n" + more,
       "line 8: is longer than 1 MiB", 1},
      {"a_million_columns", repeated("0,", 1000000) + "0\n", "run.csv, line 1: is longer than 1 MiB"},
      {"thousands_of_columns", repeated(repeated("0,", 50000) + "0\n", 2), "more than 1024 columns"},
      {"quotes_without_end", repeated("\"", 100000) + "\n" + repeated("\",", 50000) + "\n",
       "no row of numbers"},
      {"a_header_of_two_mebibytes", repeated("a line without numbers\n", 100000) + good, "no row of numbers"},
      {"an_escape_sequence", good + "0,4\n1,\x1b[31mred\n2,6\n" + more, "field 2 is '?[31mred', not a number",
       2},
  };
}

// One refusal, or the damage of the records in order, as one text.
std::string told(const test::TextReading& reading) {
  std::string all = reading.refusal;
  for (const TextRecord& record : reading.records) all += test::damage_of(record) + "\n";
  return all;
}

// What holds for every record that is handed over, whatever was read.
void expect_sound(const test::TextReading& reading) {
  for (const TextRecord& record : reading.records) {
    EXPECT_TRUE(record.damage.has_value() == record.traces.empty());
    for (const TextTrace& trace : record.traces) {
      EXPECT_TRUE(trace.interval_s > 0 && std::isfinite(trace.interval_s));
      EXPECT_TRUE(std::isfinite(trace.first_sample_s) && std::isfinite(trace.volts_per_count));
      EXPECT_FALSE(test::printed_numbers(trace).empty());
    }
  }
}

class hostile_text : public testing::TestWithParam<Hostile> {};

TEST_P(hostile_text, is_told_in_one_sentence_and_good_records_are_kept) {
  const Hostile& hostile = GetParam();
  const test::TextReading reading = test::read_text(hostile.bytes);
  EXPECT_THAT(told(reading), testing::HasSubstr(hostile.sentence));
  const auto kept = std::count_if(reading.records.begin(), reading.records.end(),
                                  [](const TextRecord& record) { return !record.damage; });
  EXPECT_EQ(static_cast<std::size_t>(kept), hostile.good_records);
  for (const TextRecord& record : reading.records) {
    // One printable line of at most three parts of 400 bytes.
    EXPECT_LT(test::damage_of(record).size(), 1300U);
    EXPECT_EQ(test::damage_of(record).find_first_of("\n\x1b"), std::string::npos);
  }
  expect_sound(reading);
}

INSTANTIATE_TEST_SUITE_P(texts, hostile_text, testing::ValuesIn(hostile_texts()),
                         [](const auto& one) { return one.param.name; });

TEST(hostile_text, a_huge_header_is_read_and_its_metadata_bounded) {
  const test::TextReading reading = test::read_text(repeated("a line without numbers\n", 20000) + good);
  ASSERT_EQ(reading.records.size(), 1U);
  EXPECT_EQ(test::damage_of(reading.records[0]), "");
  EXPECT_EQ(reading.layout.metadata.size(), 501U);
  EXPECT_EQ(reading.layout.metadata.at("header lines not kept"), "19501");
}

TEST(hostile_text, a_header_in_latin_1_becomes_utf8) {
  const test::TextReading reading = test::read_text(
      "Pr\xFC"
      "fstand;\x1b\nZeit (\xB5s);Kan\xE4le (mV)\n0,0;1,5\n0,1;2,5\n");
  ASSERT_EQ(reading.records.size(), 1U);
  EXPECT_EQ(reading.layout.voltages.at(0).name, "Kanäle");
  EXPECT_EQ(reading.layout.metadata.at("line 0001"), "Prüfstand;?");
  EXPECT_DOUBLE_EQ(reading.records[0].traces.at(0).interval_s, 1e-7);
}

// Random edits of good files: nothing may crash (the sanitizers watch), and what is handed over is sound.
TEST(hostile_text, random_edits_of_good_files_do_no_harm) {
  const std::vector<std::string> seeds{
      good + more + "\n" + more,
      "# dt = 1 ns; x0 = -5 ns\n\"A (mV)\";\"B\"\n\"1,5\";2,5\n1,6;nan\n\n1,7;2,7\n",
      "Interval,1 ns,,0.0,0.01\nGain,5,,1e-9,0.02\n,,,2e-9,0.03\n,,,3e-9,0.04\n",
      "Record\tTime (us)\tA (counts)\r\n1\t0.0\t-5\r\n1\t0.1\t7\r\n2\t0.0\t--\r\n2\t0.1\t8\r\n",
      "  0.00   1.0e-3\n  0.01   2.0e-3\n  0.02   3.0e-3\n"};
  const std::string bytes = "0123456789,.;:\t\n\r \"#-+eE\0\xFF\xB5xnsV()="s;
  test::Random random(99);
  const auto below = [&](std::size_t count) {
    return std::min(count - 1, static_cast<std::size_t>(random.uniform(0, static_cast<double>(count))));
  };
  for (int round = 0; round < 4000; ++round) {
    std::string text = seeds[below(seeds.size())];
    for (std::size_t edits = 1 + below(8); edits > 0 && !text.empty(); --edits) {
      const std::size_t at = below(text.size());
      switch (below(4)) {
        case 0:
          text[at] = bytes[below(bytes.size())];
          break;
        case 1:
          text.insert(at, 1, bytes[below(bytes.size())]);
          break;
        case 2:
          text.erase(at, 1 + below(5));
          break;
        default:
          text.insert(at, text.substr(below(text.size()), below(20)));
      }
    }
    SCOPED_TRACE(fmt::format("round {}", round));
    expect_sound(test::read_text(text));
  }
}

}  // namespace
}  // namespace firstedge
