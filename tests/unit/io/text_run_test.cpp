// Claims of the text reader about runs of files: grouping, channels, missing and identical files, many small
// files.
#include "firstedge/io/text_reader.hpp"

#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

class text_run : public testing::Test {
 protected:
  void write(const std::string& name, const std::string& text) {
    files_.push_back(folder_.write(name, text));
  }

  // What a run gives, with the samples copied out.
  struct Run {
    RunDescription description;
    ReadingAccount account;
    struct Row {
      std::uint64_t index = 0;
      std::uint32_t file = 0;
      std::vector<std::vector<double>> volts;  // one a channel
      double interval_s = 0;                   // of the first trace that is there
    };
    std::vector<Row> rows;
  };
  Run read(const Settings& input = Settings("input"), std::size_t block = 7) const {
    const auto reader = open_text(files_, input);
    Run run{reader->description(), {}, {}};
    while (true) {
      const RecordBlock records = reader->next_block(block);
      if (records.records.empty()) break;
      EXPECT_LE(records.records.size(), block);
      for (const Record& record : records.records) {
        Run::Row row{record.index, record.file, {}, 0};
        for (const Trace& trace : record.traces) {
          row.volts.push_back(volts(trace));
          if (row.interval_s == 0) row.interval_s = trace.interval_s;
        }
        run.rows.push_back(std::move(row));
      }
    }
    run.account = reader->account();
    return run;
  }
  std::string refusal(const Settings& input = Settings("input")) const {
    return test::sentence_of([&] { open_text(files_, input); });
  }

  test::TemporaryFolder folder_;
  std::vector<std::filesystem::path> files_;
};

Settings with_pattern(const std::string& pattern) {
  Settings input("input");
  input.set("pattern", pattern);
  return input;
}

TEST_F(text_run, files_are_read_in_the_order_given_and_numbered_through) {
  write("b.csv", "Time (ns),A (V)\n0,1\n1,2\n\n0,3\n1,4\n");
  write("a.csv", "Time (ns),A (V)\n0,5\n1,6\n");
  const Run run = read();
  EXPECT_EQ(run.description.format, "text");
  EXPECT_EQ(run.description.files, files_);
  EXPECT_THAT(run.description.channels, ElementsAre("A"));
  EXPECT_FALSE(run.description.record_count);
  ASSERT_EQ(run.rows.size(), 3U);
  EXPECT_THAT(run.rows[2].volts[0], ElementsAre(5, 6));
  EXPECT_EQ(run.rows[2].index, 2U);
  EXPECT_EQ(run.rows[2].file, 1U);
  EXPECT_EQ(run.account.records_good, 3U);
  EXPECT_THAT(run.account.problems, IsEmpty());
}

TEST_F(text_run, a_pattern_joins_the_channels_of_a_record_and_numbers_records_by_their_files) {
  write("left_10.csv", "0,3\n1,4\n2,9\n");
  write("left_9.csv", "0,1\n1,2\n2,9\n");
  write("right_9.csv", "0,5\n1,6\n2,9\n");
  write("right_12.csv", "0,7\n1,8\n2,9\n");
  const Run run = read(with_pattern("{channel}_{record}.csv"));
  EXPECT_THAT(run.description.channels, ElementsAre("left", "right"));
  EXPECT_EQ(run.description.record_count, 3U);
  ASSERT_EQ(run.rows.size(), 3U);
  EXPECT_EQ(run.rows[0].index, 0U);
  EXPECT_EQ(run.rows[1].index, 1U);
  EXPECT_EQ(run.rows[2].index, 3U);
  EXPECT_THAT(run.rows[0].volts[1], ElementsAre(5, 6, 9));
  EXPECT_THAT(run.rows[1].volts[0], ElementsAre(3, 4, 9));
  EXPECT_THAT(run.rows[1].volts[1], IsEmpty());
  EXPECT_EQ(run.account.traces_missing, 2U);
  EXPECT_THAT(run.account.remarks,
              Contains(HasSubstr("channel 'right' is missing from 1 of 3 records, record 1 first")));
}

TEST_F(text_run, files_of_one_channel_each_are_read_side_by_side) {
  write("top.csv", "t (ns),v\n0,1\n1,2\n\n0,3\n1,4\n\n0,x\n1,6\n\n0,7\n1,8\n");
  write("low.csv", "t (ns),v\n0,10\n1,20\n\n0,30\n1,40\n\n0,50\n1,60\n");
  const Run run = read(with_pattern("{channel}.csv"), 1);
  EXPECT_THAT(run.description.channels, ElementsAre("low", "top"));
  ASSERT_EQ(run.rows.size(), 4U);
  EXPECT_THAT(run.rows[1].volts[0], ElementsAre(30, 40));
  EXPECT_THAT(run.rows[1].volts[1], ElementsAre(3, 4));
  EXPECT_THAT(run.rows[2].volts[0], ElementsAre(50, 60));
  EXPECT_THAT(run.rows[2].volts[1], IsEmpty());  // damaged
  EXPECT_THAT(run.rows[3].volts[0], IsEmpty());  // the file has ended
  EXPECT_EQ(run.account.records_good, 4U);
  EXPECT_EQ(run.account.traces_missing, 2U);
  ASSERT_EQ(run.account.problems.size(), 1U);
  EXPECT_THAT(run.account.problems[0].what(), HasSubstr("top.csv, line 8: field 2 is 'x'"));
}

TEST_F(text_run, several_columns_in_a_channel_s_file_carry_both_names) {
  write("west.csv", "t,A,B\n0,1,2\n1,2,3\n2,3,4\n");
  write("east.csv", "t,v\n0,1\n1,2\n2,3\n");
  EXPECT_THAT(read(with_pattern("{channel}.csv")).description.channels,
              ElementsAre("east", "west A", "west B"));
}

TEST_F(text_run, wanted_channels_give_the_order_and_leave_out_the_rest) {
  for (const char* name : {"a.csv", "b.csv", "c.csv"}) write(name, "0,1\n1,2\n2,3\n");
  Settings input = with_pattern("{channel}.csv");
  input.set("channels", Settings::Value{Settings::List{{std::string("c")}, {std::string("a")}}});
  EXPECT_THAT(read(input).description.channels, ElementsAre("c", "a"));
}

TEST_F(text_run, each_file_keeps_its_time_base_length_and_channels_and_all_of_it_is_told) {
  write("1.csv", "Time (ns),A (mV),B (mV)\n0,1000,2000\n1,2000,3000\n2,3000,4000\n");
  write("2.csv", "Time (us);B (V)\n0,0;1,5\n0,5;2,5\n");
  write("3.csv", "Time (ns)\tA (V)\tB (V)\n0\t1\t2\n1\t2\t3\n2\t3\t4\n");
  const Run run = read();
  ASSERT_EQ(run.rows.size(), 3U);
  EXPECT_THAT(run.rows[0].volts[0], ElementsAre(1, 2, 3));
  EXPECT_THAT(run.rows[1].volts[0], IsEmpty());
  EXPECT_THAT(run.rows[1].volts[1], ElementsAre(1.5, 2.5));
  EXPECT_EQ(run.rows[1].interval_s, 5e-7);
  EXPECT_EQ(run.account.traces_missing, 1U);
  EXPECT_THAT(run.account.remarks, Contains("channel 'A' is missing from 1 of 3 records, record 1 first"));
  EXPECT_THAT(run.account.remarks, Contains("channel 'B': records have from 2 to 3 samples"));
  EXPECT_THAT(run.account.remarks, Contains("channel 'B': sample intervals from 1 ns to 500 ns"));
}

TEST_F(text_run, the_channels_are_those_of_the_first_middle_and_last_file) {
  for (int i = 0; i < 9; ++i) {
    const char* name = i == 0 ? "A" : i == 4 ? "B" : i == 6 ? "odd" : i == 8 ? "C" : "A";
    write(fmt::format("{}.csv", i), fmt::format("t,{}\n0,1\n1,2\n2,3\n", name));
  }
  const Run run = read();
  EXPECT_THAT(run.description.channels, ElementsAre("A", "B", "C"));
  EXPECT_EQ(run.account.records_good, 8U);
  EXPECT_EQ(run.account.records_bad, 1U);
  ASSERT_EQ(run.account.problems.size(), 1U);
  EXPECT_THAT(run.account.problems[0].what(),
              HasSubstr("6.csv: the channel 'odd' is not among those of the run and is left out"));
  EXPECT_THAT(run.description.guesses, Contains(HasSubstr("the first, the middle and the last file")));
}

TEST_F(text_run, a_file_that_cannot_be_read_is_one_bad_record_among_good_ones) {
  write("1.csv", "0,1\n1,2\n2,3\n");
  write("2.csv", "");
  write("3.csv", "0,1\n1,2\n2,3\n");
  files_.push_back(folder_ / "gone.csv");
  write("5.csv", "only a header\n");
  write("6.csv", "0,1\n1,2\n2,3\n");
  const Run run = read();
  EXPECT_EQ(run.account.records_good, 3U);
  EXPECT_EQ(run.account.records_bad, 3U);
  EXPECT_EQ(run.rows.back().index, 5U);
  EXPECT_EQ(run.account.problems.size(), 3U);  // three kinds
}

TEST_F(text_run, byte_identical_files_are_told_and_counted) {
  const std::string text = "0,1\n1,2\n2,3\n";
  write("1.csv", text);
  write("2.csv", "0,1\n1,2\n2,4\n");  // as long, but different
  write("3.csv", text);
  write("4.csv", text);
  EXPECT_THAT(
      read().account.remarks,
      ElementsAre(fmt::format("files that are byte for byte the same as an earlier one: 2 (the first are "
                              "{} and {})",
                              files_[0].string(), files_[2].string())));
}

TEST_F(text_run, files_that_differ_behind_the_first_mebibyte_are_not_identical) {
  std::string text;
  while (text.size() < (std::size_t{5} << 18U)) text += fmt::format("{},0.5\n", text.size() / 8 % 1000);
  std::string other = text;
  other[other.size() - 2] = '6';
  Settings input("input");
  input.set("interval", "1 ns");
  input.set("time_column", "none");
  write("1.csv", text);
  write("2.csv", other);
  EXPECT_THAT(read(input).account.remarks, IsEmpty());
  write("3.csv", text);
  EXPECT_THAT(read(input).account.remarks, ElementsAre(HasSubstr("same as an earlier one: 1")));
}

TEST_F(text_run, more_than_one_record_in_a_file_of_one_is_a_problem) {
  write("r1.csv", "0,1\n1,2\n\n0,3\n1,4\n");
  write("r2.csv", "0,5\n1,6\n");
  const Run run = read(with_pattern("r{record}.csv"));
  EXPECT_EQ(run.account.records_good, 2U);
  EXPECT_EQ(run.account.records_bad, 1U);
  EXPECT_THAT(run.rows.back().volts[0], ElementsAre(5, 6));
  EXPECT_EQ(run.rows.back().index, 1U);
  EXPECT_THAT(run.account.problems.at(0).what(), HasSubstr("holds more than one record"));
}

TEST_F(text_run, the_digitizer_s_limits_and_offset_reach_the_traces) {
  write("1.csv", "0,-128\n1,127\n2,0\n");
  Settings input("input");
  input.set("volts_per_count", 0.5);
  input.set("offset", "100 mV");
  input.set("lowest_count", -128.0);
  input.set("highest_count", 127.0);
  const auto reader = open_text(files_, input);
  const RecordBlock block = reader->next_block(1);
  const Trace& trace = block.records.at(0).traces.at(0);
  EXPECT_THAT(volts(trace), ElementsAre(-63.9, 63.6, 0.1));
  EXPECT_THAT(clipped_ranges(trace), ElementsAre(SampleRange{0, 2}));
}

TEST_F(text_run, nothing_readable_is_refused_at_opening) {
  EXPECT_THAT(refusal(), HasSubstr("none is given"));
  files_.push_back(folder_ / "gone.csv");
  EXPECT_THAT(refusal(), HasSubstr("gone.csv"));
  files_ = {folder_.path()};
  EXPECT_THAT(refusal(), HasSubstr("is a folder"));
  files_.clear();
  write("1.csv", "a header\n");
  EXPECT_THAT(refusal(), HasSubstr("1.csv: there is no row of numbers"));
  EXPECT_THAT(refusal(with_pattern("{record}.txt")), HasSubstr("fits the pattern"));
}

TEST_F(text_run, the_same_records_come_whatever_the_block_size) {
  for (int i = 0; i < 20; ++i) {
    write(fmt::format("{}.csv", i), fmt::format("t (ns),A\n0,{}\n1,2\n\n0,{}\n1,4\n", i, 2 * i));
  }
  const Run small = read(Settings("input"), 1);
  const Run large = read(Settings("input"), 1000);
  ASSERT_EQ(small.rows.size(), 40U);
  ASSERT_EQ(large.rows.size(), 40U);
  for (std::size_t i = 0; i < 40; ++i) {
    EXPECT_EQ(small.rows[i].volts, large.rows[i].volts);
    EXPECT_EQ(small.rows[i].index, large.rows[i].index);
  }
}

TEST_F(text_run, the_share_that_has_been_read_rises_to_one) {
  for (int i = 0; i < 4; ++i) write(fmt::format("{}.csv", i), "t (ns),A\n0,1\n1,2\n\n0,3\n1,4\n");
  const auto reader = open_text(files_, Settings("input"));
  EXPECT_EQ(reader->share_read(), 0);
  double before = 0;
  for (int record = 0; record < 8; ++record) {
    ASSERT_EQ(reader->next_block(1).records.size(), 1U);
    EXPECT_GT(reader->share_read().value(), before);
    before = reader->share_read().value();
    EXPECT_NEAR(before, (record + 1) / 8.0, 1.0 / 8) << "within a record";
  }
  EXPECT_TRUE(reader->next_block(1).records.empty());
  EXPECT_EQ(reader->share_read(), 1);
}

std::size_t open_descriptors() {
  const std::filesystem::directory_iterator all("/proc/self/fd");
  return static_cast<std::size_t>(std::distance(begin(all), end(all)));
}

TEST_F(text_run, ten_thousand_small_files_are_read_with_none_kept_open) {
  for (int i = 0; i < 10000; ++i) {
    write(fmt::format("{}.csv", i), fmt::format("t (ns),A (mV)\n0.0,{}\n0.5,2\n1.0,3\n", i));
  }
  const std::size_t before = open_descriptors();
  const auto reader = open_text(files_, Settings("input"));
  EXPECT_EQ(open_descriptors(), before);
  std::uint64_t records = 0;
  while (true) {
    const RecordBlock block = reader->next_block(256);
    if (block.records.empty()) break;
    EXPECT_EQ(open_descriptors(), before);
    for (const Record& record : block.records) {
      EXPECT_EQ(volts(record.traces.at(0)).at(0), 1e-3 * static_cast<double>(records));
      ++records;
    }
  }
  EXPECT_EQ(records, 10000U);
  EXPECT_EQ(reader->account().records_good, 10000U);
}

}  // namespace
}  // namespace firstedge
