// Claims of IEEE 488.2 blocks: definite and indefinite, one after the other, as records or as channels.
#include "firstedge/io/block_reader.hpp"
#include "firstedge/io/json_settings.hpp"

#include "support/reading.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

std::unique_ptr<RecordReader> open(const std::string& more, const std::string& bytes) {
  std::vector<ByteSource> sources;
  sources.push_back(ByteSource::from_bytes(test::bytes_of(bytes), "run.blk"));
  return open_block(
      std::move(sources),
      settings_from_json(R"({"interval": "1 ns", "sample_type": "int8")" + more + "}", "layout"));
}

std::vector<std::string> samples_in(const test::ReadRun& run, std::size_t channel = 0) {
  std::vector<std::string> samples;
  for (const Record& record : run.records) samples.push_back(test::bytes_of(record.traces.at(channel)));
  return samples;
}

std::vector<std::string> sentences_in(const test::ReadRun& run) {
  std::vector<std::string> sentences;
  for (const Error& problem : run.account.problems) sentences.emplace_back(problem.what());
  return sentences;
}

TEST(block, definite_blocks_follow_each_other_as_records_of_their_own_length) {
  // The length in 1, 2 and 9 digits (IEEE Std 488.2-1992, 8.7.9.2), with the separators a message may have.
  const auto run = test::read_whole(*open("", "#13abc;#204defg\n#9000000002#1\r\n"), 2);
  EXPECT_THAT(samples_in(run), ElementsAre("abc", "defg", "#1"));
  EXPECT_EQ(run.description.format, "block");
  EXPECT_FALSE(run.description.record_count.has_value());
  EXPECT_THAT(run.account.problems, IsEmpty());
}

TEST(block, an_indefinite_block_ends_with_the_line_feed_at_the_end_of_the_file) {
  // IEEE Std 488.2-1992, 8.7.10: '#0', the bytes, and a line feed with END.
  EXPECT_THAT(samples_in(test::read_whole(*open("", "#0ab\ncd\n"))), ElementsAre("ab\ncd"));
  EXPECT_THAT(samples_in(test::read_whole(*open("", "#12xy#0ab\n"))), ElementsAre("xy", "ab"));
  EXPECT_THAT(samples_in(test::read_whole(*open(R"(, "samples": 3)", "#0abc"))), ElementsAre("abc"))
      << "whole by the layout's count";
  const auto cut = test::read_whole(*open("", "#12xy#0abc"));
  EXPECT_THAT(samples_in(cut), ElementsAre("xy"));
  EXPECT_EQ(cut.account.records_bad, 1U);
  EXPECT_THAT(sentences_in(cut), ElementsAre(HasSubstr("does not end with a line feed")));
}

TEST(block, text_before_a_block_is_passed_over_where_the_layout_says_so) {
  EXPECT_THAT(
      samples_in(test::read_whole(*open(R"(, "text_before_block": true)", "DATA #x #12ab\nDATA #12cd\n"))),
      ElementsAre("ab", "cd"));
  EXPECT_THAT(samples_in(test::read_whole(*open(R"(, "text_before_block": true)",
                                                std::string(255, 'x') + "#12ab" + std::string(300, 'y')))),
              ElementsAre("ab"))
      << "a '#' at the end of a piece";
  EXPECT_THAT(sentence_of([] { open("", "DATA #12ab\n"); }),
              HasSubstr("run.blk, byte 0: a block should start here with '#'"));
}

TEST(block, blocks_may_be_the_channels_of_a_record) {
  const std::string layout =
      R"(, "block_holds": "channel", "channels": ["Near", "Far"], "interleaving": "by_channel",
                                "volts_per_count": [1, 2])";
  auto run = test::read_whole(*open(layout, "#12ab#13cde#12fg#12hi"));
  EXPECT_THAT(samples_in(run, 0), ElementsAre("ab", "fg"));
  EXPECT_THAT(samples_in(run, 1), ElementsAre("cde", "hi"));
  EXPECT_EQ(run.records[1].traces[1].volts_per_count, 2);
  run = test::read_whole(*open(layout, "#12ab#10#12fg#12hi#12jk"));
  EXPECT_THAT(samples_in(run, 0), ElementsAre("ab", "fg"));
  EXPECT_TRUE(run.records[0].traces[1].empty()) << "the damaged block leaves its channel out";
  EXPECT_EQ(run.account.traces_missing, 1U);
  EXPECT_EQ(run.account.records_bad, 1U);
  EXPECT_THAT(sentences_in(run), ElementsAre(HasSubstr("no whole number of samples"),
                                             HasSubstr("ends after 1 of 2 channels' blocks")));
}

TEST(block, a_block_holds_all_channels_and_a_header_where_the_layout_says_so) {
  const auto run = test::read_whole(*open(
      R"(, "channels": ["Near", "Far"], "interleaving": "by_sample", "record_header_bytes": 4, "time_stamp":
         {"offset": 0, "type": "uint32", "unit": "s", "epoch": "1970-01-01T00:00:00Z"})",
      "#18" + std::string("\x3c\x00\x00\x00", 4) + "aAbB"));
  EXPECT_THAT(samples_in(run, 0), ElementsAre("ab"));
  EXPECT_THAT(samples_in(run, 1), ElementsAre("AB"));
  EXPECT_EQ(to_text(run.records[0].trigger.value()), "1970-01-01T00:01:00.000000000000000Z");
}

TEST(block, damaged_blocks_are_counted_and_the_good_ones_around_them_kept) {
  auto run = test::read_whole(*open(R"(, "samples": 2)", "#12ab#13xyz#12cd#12ef"));
  EXPECT_THAT(samples_in(run), ElementsAre("ab", "cd", "ef"));
  EXPECT_EQ(run.records[1].index, 2U) << "the damaged record keeps its number";
  EXPECT_EQ(run.account.records_bad, 1U);
  EXPECT_THAT(sentences_in(run),
              ElementsAre(HasSubstr("run.blk, byte 8: a block of 3 bytes, the layout's have 2")));
  run = test::read_whole(*open("", "#12ab#15cd"));
  EXPECT_THAT(samples_in(run), ElementsAre("ab"));
  EXPECT_THAT(sentences_in(run),
              ElementsAre(HasSubstr("byte 5: a block of 5 bytes, but 2 are left in the file")));
}

TEST(block, a_file_of_blocks_is_known_by_its_content) {
  const test::TemporaryFolder folder;
  const auto file = folder.write("run.dat", std::string("#14\x00\x01\x02\x03", 7));
  folder.write("run.dat.json", R"({"interval": "1 ns", "sample_type": "int8", "samples": 4})");
  const auto run = test::read_whole(*open_records({file}, Settings()));
  EXPECT_EQ(run.description.format, "block");
  EXPECT_THAT(run.records, SizeIs(1));
  EXPECT_TRUE(starts_as_block(test::bytes_of(std::string("#0\x00", 3))));
  EXPECT_FALSE(starts_as_block(test::bytes_of("#1 of 4 channels\n"))) << "a comment in a text";
  EXPECT_FALSE(starts_as_block(test::bytes_of("#41x")));
  EXPECT_FALSE(starts_as_block(test::bytes_of("#")));
}

}  // namespace
}  // namespace firstedge
