// Claims of the door: folders, formats known by their content or named, and what is refused before anything
// is read.
#include "firstedge/io/byte_source.hpp"
#include "firstedge/io/record_reader.hpp"

#include "support/reading.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::AllOf;
using testing::HasSubstr;
using testing::SizeIs;

// One record of two int8 samples.
std::string tiny_npy(char first, char second) {
  std::string text = "{'descr': '|i1', 'fortran_order': False, 'shape': (1, 2), }";
  return "\x93NUMPY" + std::string("\x01\x00", 2) + std::string{static_cast<char>(text.size()), '\0'} + text +
         first + second;
}

Settings input_of(const std::string& format = "") {
  Settings input("bench.json, input");
  input.set("interval", "1 ns");
  if (!format.empty()) input.set("format", format);
  return input;
}

TEST(formats, a_folder_is_one_run_in_natural_order_known_by_its_content) {
  const test::TemporaryFolder folder;
  folder.write("r10.dat", tiny_npy('c', 'd'));
  folder.write("r9.dat", tiny_npy('a', 'b'));
  folder.write("bench.json", "{}");
  const auto reader = open_records({folder.path()}, input_of());
  EXPECT_EQ(reader->description().format, "npy");
  const auto run = test::read_whole(*reader);
  ASSERT_THAT(run.records, SizeIs(2));
  EXPECT_EQ(test::bytes_of(run.records[0].traces[0]), "ab");
  EXPECT_THAT(test::read_whole(*open_records({folder.path()}, input_of("npy"))).records, SizeIs(2));
}

TEST(formats, text_is_known_by_its_bytes_and_not_taken_for_a_block) {
  const test::TemporaryFolder folder;
  const auto file = folder.write("run.csv", "#12 of 40 runs\ntime (ns),Near (mV)\n0,1\n1,2\n2,3\n3,4\n");
  const auto run = test::read_whole(*open_records({file}, Settings()));
  EXPECT_EQ(run.description.format, "text");
  EXPECT_THAT(run.records, SizeIs(1));
  EXPECT_TRUE(
      looks_like_text(test::bytes_of("\xff\xfe"
                                     "0\0")))
      << "UTF-16 is the text reader's to refuse";
  EXPECT_TRUE(looks_like_text(test::bytes_of("3.1 \xb5s\r\n"))) << "Latin-1";
  EXPECT_FALSE(looks_like_text(test::bytes_of("\x01\x02\x03")));
  EXPECT_FALSE(looks_like_text({}));
}

TEST(formats, unknown_and_mixed_content_is_refused_with_the_names_known) {
  const test::TemporaryFolder folder;
  const auto good = folder.write("good.npy", tiny_npy('a', 'b'));
  const auto odd = folder.write("odd", std::string("\x7f\x00\x01\x02", 4));
  const auto empty = folder.write("empty.npy", "");
  EXPECT_THAT(sentence_of([&] { open_records({odd}, input_of()); }),
              AllOf(HasSubstr("odd: is empty or in no format known here"), HasSubstr("\"format\": one of"),
                    HasSubstr("npy")));
  EXPECT_THAT(sentence_of([&] { open_records({empty}, input_of()); }), HasSubstr("empty.npy: is empty"));
  const auto other = folder.write("other.dat", std::string("#13\x00\x01\x02", 6));
  EXPECT_THAT(sentence_of([&] {
                open_records({good, other}, input_of());
              }),
              AllOf(HasSubstr("other.dat: is in the format block, but"), HasSubstr("good.npy is in npy")));
  EXPECT_THAT(sentence_of([&] { open_records({good}, input_of("tape")); }),
              AllOf(HasSubstr("bench.json, input/format: is 'tape'"), HasSubstr("choose one of")));
}

TEST(formats, a_file_without_a_sound_start_is_one_bad_record_of_a_run) {
  const test::TemporaryFolder folder;
  folder.write("r1.npy", tiny_npy('a', 'b'));
  folder.write("r2.npy", "");
  folder.write("r3.npy", tiny_npy('c', 'd'));
  const auto run = test::read_whole(*open_records({folder.path()}, input_of()));
  ASSERT_THAT(run.records, SizeIs(2));
  EXPECT_EQ(run.records[1].index, 2U);
  EXPECT_EQ(run.account.records_bad, 1U);
  ASSERT_THAT(run.account.problems, SizeIs(1));
  EXPECT_THAT(run.account.problems[0].what(), HasSubstr("r2.npy: is empty"));
}

TEST(formats, files_that_a_pattern_leaves_out_need_no_format) {
  const test::TemporaryFolder folder;
  folder.write("A_1.npy", tiny_npy('a', 'b'));
  folder.write("picture.png", std::string("\x7f\x00\x01\x02", 4));
  Settings input = input_of();
  input.set("pattern", "{channel}_{record}.npy");
  const auto run = test::read_whole(*open_records({folder.path()}, input));
  EXPECT_THAT(run.records, SizeIs(1));
  EXPECT_THAT(run.account.remarks, testing::ElementsAre(HasSubstr("picture.png")));
  input.set("pattern", "{channel}-{record}.npy");
  EXPECT_THAT(sentence_of([&] { open_records({folder.path()}, input); }),
              HasSubstr("bench.json, input/pattern: fits none of the files"));
}

TEST(formats, what_is_not_a_readable_file_is_refused) {
  const test::TemporaryFolder folder;
  const auto pipe = folder.path() / "pipe.npy";
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  const auto loop = folder.path() / "loop.npy";
  ASSERT_EQ(::symlink("loop.npy", loop.c_str()), 0);
  EXPECT_THAT(sentence_of([&] { open_records({folder.path() / "none.npy"}, input_of()); }),
              HasSubstr("none.npy: there is no such file; check the name"));
  EXPECT_THAT(sentence_of([&] { open_records({pipe}, input_of()); }), HasSubstr("is a pipe or a device"));
  EXPECT_THAT(sentence_of([&] { open_records({"/dev/null"}, input_of()); }),
              HasSubstr("is a pipe or a device"));
  EXPECT_THAT(sentence_of([&] { open_records({loop}, input_of()); }), HasSubstr("cannot be opened"));
  EXPECT_THAT(sentence_of([&] { open_records({}, input_of()); }), HasSubstr("name at least one file"));
  const auto locked = folder.write("locked.npy", tiny_npy('a', 'b'));
  ASSERT_EQ(::chmod(locked.c_str(), 0), 0);
  if (::geteuid() != 0) {  // root may read everything
    EXPECT_THAT(sentence_of([&] { open_records({locked}, input_of()); }), HasSubstr("cannot be opened"));
  }
}

}  // namespace
}  // namespace firstedge
