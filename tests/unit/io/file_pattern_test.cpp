// Claims of file names: natural order, what a pattern matches, and what is told of missing and foreign files.
#include "firstedge/io/file_pattern.hpp"

#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <filesystem>
#include <string>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::ElementsAre;
using testing::HasSubstr;
using Paths = std::vector<std::filesystem::path>;

std::string match_of(const std::string& pattern, const std::string& file) {
  const auto match = FilePattern(pattern, "test").match(file);
  if (!match) return "no";
  return match->channel + "|" + (match->record ? std::to_string(*match->record) : "-");
}

TEST(natural_order, digits_count_as_numbers_and_the_order_is_strict) {
  std::vector<std::string> names{"run_10.csv",
                                 "run_2.csv",
                                 "run_02.csv",
                                 "Run_1.csv",
                                 "run_2",
                                 "run_2a.csv",
                                 "run_99999999999999999999999.csv",
                                 "run_100000000000000000000000.csv",
                                 ""};
  std::sort(names.begin(), names.end(), naturally_before);
  EXPECT_THAT(names,
              ElementsAre("", "Run_1.csv", "run_2", "run_02.csv", "run_2.csv", "run_2a.csv", "run_10.csv",
                          "run_99999999999999999999999.csv", "run_100000000000000000000000.csv"));
  for (const auto& a : names) {
    for (const auto& b : names) {
      EXPECT_EQ(naturally_before(a, b) + naturally_before(b, a), a == b ? 0 : 1) << a << " and " << b;
    }
  }
}

TEST(file_pattern, channel_and_record_are_taken_from_the_name) {
  EXPECT_EQ(match_of("{channel}_{record}.csv", "data/Near_0012.csv"), "Near|12");
  EXPECT_EQ(match_of("{channel}_{record}.csv", "near_end_7.csv"), "near_end|7");
  EXPECT_EQ(match_of("{channel}{record}.csv", "CH10001.csv"), "CH|10001")
      << "{record} takes the whole run of digits";
  EXPECT_EQ(match_of("C{channel}-{record}.npy", "C3-00.npy"), "3|0");
  EXPECT_EQ(match_of("{record}/{channel}.csv", "/data/run/0042/Far.csv"), "Far|42");
  EXPECT_EQ(match_of("*_{channel}_{record}.csv", "20261125_063700_Far_3.csv"), "063700_Far|3");
  EXPECT_EQ(match_of("*_*_{channel}_{record}.csv", "20261125_063700_Far_3.csv"), "Far|3");
  EXPECT_EQ(match_of("run{record}.h5", "run8.h5"), "|8");
  EXPECT_EQ(match_of("{channel}.npy", "A.npy"), "A|-");
  EXPECT_EQ(match_of("{channel}_{record}.csv", "Near_12.csv.bak"), "no");
  EXPECT_EQ(match_of("{channel}_{record}.csv", "_12.csv"), "no");
  EXPECT_EQ(match_of("{channel}_{record}.csv", "Near_1x.csv"), "no");
  EXPECT_EQ(match_of("{channel}_{record}.csv", "Near_1234567890123456789.csv"), "no")
      << "more than 18 digits";
  EXPECT_EQ(match_of("{record}/{channel}.csv", "Far.csv"), "no");
}

TEST(file_pattern, a_pattern_that_says_nothing_or_the_same_twice_is_refused) {
  const auto refusal = [](const std::string& text) {
    return sentence_of([&] { FilePattern(text, "bench.json, input/pattern"); });
  };
  EXPECT_THAT(refusal("run.csv"), HasSubstr("bench.json, input/pattern: has neither {channel} nor {record}"));
  EXPECT_THAT(refusal("{channel}_{channel}"), HasSubstr("has {channel} twice"));
  EXPECT_THAT(refusal("{record}_{record}"), HasSubstr("has {record} twice"));
  EXPECT_THAT(refusal("{chanel}_{record}"), HasSubstr("'{chanel}' is not a word known here"));
  EXPECT_THAT(refusal("{record}_{channel"), HasSubstr("'{channel' is not a word known here"));
  EXPECT_THAT(refusal("{record}" + std::string(17, '*')), HasSubstr("more than 16 '*'"));
  EXPECT_THAT(refusal(std::string(2000, 'x')), HasSubstr("2000 bytes"));
  EXPECT_THAT(refusal(""), HasSubstr("has neither"));
}

TEST(file_groups, files_come_by_record_and_channel_and_all_that_is_missing_is_told) {
  const Paths files{"d/B_10.csv", "d/A_10.csv", "d/A_9.csv", "d/notes.txt", "d/A_13.csv", "d/B_13.csv"};
  const FileGroups groups = group_files(files, FilePattern("{channel}_{record}.csv", "test"));
  EXPECT_THAT(groups.channels, ElementsAre("A", "B"));
  ASSERT_EQ(groups.groups.size(), 3U);
  EXPECT_EQ(groups.groups[0].number, 9U);
  EXPECT_EQ(groups.groups[0].index, 0U);
  EXPECT_THAT(groups.groups[0].files, ElementsAre(0U, FileGroups::no_file));
  EXPECT_EQ(groups.groups[1].index, 1U);
  EXPECT_EQ(groups.groups[2].index, 4U) << "numbers 11 and 12 keep their places";
  EXPECT_EQ(groups.files.at(groups.groups[2].files[1]), "d/B_13.csv");
  EXPECT_THAT(groups.unmatched, ElementsAre("d/notes.txt"));
  EXPECT_EQ(groups.files_missing, 1U);
  EXPECT_EQ(groups.records_missing, 2U);
  EXPECT_THAT(
      groups.remarks,
      ElementsAre(
          HasSubstr("1 file is left out, not fitting the file-name pattern; the first is d/notes.txt"),
          HasSubstr("1 channel file is missing; the first is channel 'B' of record 9"),
          HasSubstr("2 record numbers are missing between the first and the last; the first is 11")));
}

TEST(file_groups, the_setups_channels_choose_and_order_and_doubles_are_refused) {
  const FilePattern pattern("{channel}_{record}.csv", "test");
  const FileGroups groups = group_files({"A_1.csv", "B_1.csv", "C_1.csv"}, pattern, {"C", "A"});
  EXPECT_THAT(groups.channels, ElementsAre("C", "A"));
  EXPECT_EQ(groups.files.at(groups.groups.at(0).files.at(0)), "C_1.csv");
  EXPECT_THAT(groups.unmatched, ElementsAre("B_1.csv"));
  EXPECT_THAT(sentence_of([&] {
                group_files({"A_1.csv", "A_01.csv"}, pattern);
              }),
              HasSubstr("A_01.csv: stands for the same record and channel as A_1.csv"));
  EXPECT_THAT(sentence_of([&] {
                group_files({"a.txt", "b.txt"}, pattern);
              }),
              HasSubstr("none of 2 files fits the pattern"));
}

TEST(file_groups, ten_thousand_files_with_a_far_gap_take_no_more_than_their_names) {
  Paths files;
  for (int record = 0; record < 5000; ++record) {
    files.emplace_back(fmt::format("A_{}.csv", record));
    files.emplace_back(fmt::format("B_{}.csv", record));
  }
  files.emplace_back("A_999999999999999999.csv");
  const FileGroups groups = group_files(files, FilePattern("{channel}_{record}.csv", "test"));
  EXPECT_EQ(groups.groups.size(), 5001U);
  EXPECT_EQ(groups.records_missing, 999999999999999999U - 5000U);
}

TEST(folders, stand_for_their_files_in_natural_order) {
  const test::TemporaryFolder temporary;
  const auto& folder = temporary.path();
  std::filesystem::create_directories(folder / "deeper");
  EXPECT_THAT(sentence_of([&] { expand_folders({folder}); }), HasSubstr("the folder holds no data file"));
  for (const char* name : {"r10.bin", "r9.bin", ".hidden", "r9.bin.json"}) temporary.write(name, "x");
  EXPECT_THAT(expand_folders({"other.bin", folder}),
              ElementsAre("other.bin", folder / "r9.bin", folder / "r10.bin"));
  EXPECT_THAT(sentence_of([&] { expand_folders({}); }), HasSubstr("name at least one file"));
}

}  // namespace
}  // namespace firstedge
