// Hostile Setups and file-name patterns: one sentence with the place, no crash, no time or memory without
// bound.
#include "firstedge/io/file_pattern.hpp"
#include "firstedge/io/setup.hpp"

#include "support/random.hpp"
#include "support/sentence_of.hpp"

#include <algorithm>
#include <ostream>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

std::string repeated(const std::string& text, int times) {
  std::string all;
  for (int i = 0; i < times; ++i) all += text;
  return all;
}

struct Case {
  std::string name;
  std::string text;
  std::string sentence;
};

std::ostream& operator<<(std::ostream& out, const Case& one) {
  return out << one.name;
}

std::vector<Case> setup_cases() {
  return {
      {"empty", "", "bench.json, line 1, column 1: not JSON"},
      {"not_json", "title = bench", "not JSON"},
      {"cut_short", R"({"title": "ben)", "not JSON"},
      {"two_values", "{} {}", "line 1, column 4: not JSON"},
      {"a_list", "[1, 2]", "the outermost value is not a group in braces"},
      {"a_number", "7", "the outermost value is not a group in braces"},
      {"nul_bytes", std::string(10, '\0'), "not JSON"},
      {"not_utf_8", "{\"title\": \"\xff\xfe\"}", "not JSON"},
      {"number_too_large", R"({"learning_records": 1e999})", "not JSON"},
      {"not_a_number", R"({"learning_records": NaN})", "not JSON"},
      {"nested_100_000_deep", repeated("{\"input\": ", 100000), "stands deeper than 32 brackets"},
      {"lists_100_000_deep", "{\"input\": " + repeated("[", 100000), "stands deeper than 32 brackets"},
      {"larger_than_a_mebibyte", "{\"title\": \"" + std::string(1U << 20U, 'x') + "\"}",
       "1048589 bytes of text; give at most 1048576 bytes"},
      {"name_twice", R"({"title": "a", "title": "b"})", "bench.json, title: is given twice"},
      {"name_twice_inside", R"({"channels": [{}, {"load": 1, "load": 2}]})",
       "channels/1/load: is given twice"},
      {"null", R"({"input": {"interval": null}})", "bench.json, input/interval: is null"},
      {"wrong_kind_of_group", R"({"input": 5})", "bench.json, input: is a number"},
      {"wrong_kind_of_list", R"({"channels": {"name": "A"}})", "bench.json, channels: is a group"},
      {"wrong_kind_in_list", R"({"channels": ["A"]})", "bench.json, channels: holds the text 'A'"},
      {"channel_without_name", R"({"channels": [{}]})", "channels/0/name: is missing"},
      {"channel_twice", R"({"channels": [{"name": "A"}, {"name": "A"}]})",
       "channels/1/name: lists channel 'A' again"},
      {"load_negative", R"({"every_channel": {"load": -50}})", "every_channel/load: is -50 ohm"},
      {"learning_records_broken", R"({"learning_records": 1.5})", "learning_records: is 1.5"},
      {"learning_records_huge", R"({"learning_records": 1e18})", "learning_records: is 1e+18"},
      {"control_characters_in_a_name", R"({"\u001b[31m\n": 1})", "?[31m?: is not a name known here"},
  };
}

void expect_clean(const std::string& sentence) {
  EXPECT_LT(sentence.size(), 1300U);  // three parts of at most 400 bytes
  EXPECT_EQ(std::count_if(sentence.begin(), sentence.end(), [](unsigned char c) { return c < 0x20; }), 0)
      << sentence;
}

class HostileSetup : public testing::TestWithParam<Case> {};

TEST_P(HostileSetup, gives_one_sentence) {
  const std::string sentence = test::sentence_of([] { parse_setup(GetParam().text, "bench.json"); });
  EXPECT_THAT(sentence, HasSubstr(GetParam().sentence));
  EXPECT_THAT(sentence, HasSubstr("; ")) << "a remedy follows";
  expect_clean(sentence);
}

INSTANTIATE_TEST_SUITE_P(setup, HostileSetup, testing::ValuesIn(setup_cases()),
                         [](const auto& one) { return one.param.name; });

TEST(hostile_setup, very_many_names_take_no_quadratic_time) {
  // A search through all names so far would be 4 * 10^9 comparisons of strings: minutes.
  std::string text = "{\"input\": {";
  for (int i = 0; i < 90000; ++i) text += fmt::format("{}\"{}\":1", i == 0 ? "" : ",", i);
  EXPECT_EQ(parse_setup(text + "}}", "bench.json").input.values().size(), 90000U);
}

TEST(hostile_setup, random_damage_gives_a_sentence_or_a_setup) {
  const std::string sound = R"({"title": "Skerry", "learning_records": 50, "input": {"interval": "0.2 ns"},
    "every_channel": {"load": "50 ohm", "filters": [{"kind": "notch"}]}, "channels": [{"name": "Near"}]})";
  ASSERT_EQ(test::sentence_of([&] { parse_setup(sound, "bench.json"); }), "");
  test::Random random(20260212);
  for (int round = 0; round < 3000; ++round) {
    std::string text = sound;
    for (int change = 0; change < 3; ++change) {
      const auto at = static_cast<std::size_t>(random.uniform(0, static_cast<double>(text.size())));
      if (random.uniform(0, 1) < 0.7) {
        text[at] = "{}[],:\"\\0e-xu\n\x01\x80 "[static_cast<std::size_t>(random.uniform(0, 17))];
      } else {
        text.erase(at, static_cast<std::size_t>(random.uniform(1, 20)));
      }
    }
    expect_clean(test::sentence_of([&] { parse_setup(text, "bench.json"); }));
  }
}

TEST(hostile_pattern, a_name_made_to_match_slowly_is_told_in_time) {
  // Trying every way to cut 250 bytes at 16 '*' would be some 10^25 steps.
  const FilePattern pattern(repeated("*a", 16) + "{record}", "pattern");
  EXPECT_FALSE(pattern.match(std::string(250, 'a')).has_value());
  EXPECT_TRUE(pattern.match(std::string(250, 'a') + "7").has_value());
}

}  // namespace
}  // namespace firstedge
