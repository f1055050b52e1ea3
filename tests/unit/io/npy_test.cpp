// Claims of the .npy reader: counts equal to NumPy's own, several files as one run, and damage that is
// counted.
#include "firstedge/io/npy_reader.hpp"

#include "support/reading.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <limits>
#include <sstream>
#include <string>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

Settings input_of(const std::string& interval = "0.2 ns") {
  Settings input("bench.json, input");
  if (!interval.empty()) input.set("interval", interval);
  return input;
}

Settings::Value list_of(const std::vector<std::string>& texts) {
  Settings::List list;
  for (const auto& text : texts) list.push_back({text});
  return {list};
}

// A version 1.0 file: header text padded as NumPy pads it, then the data.
ByteSource npy(const std::string& name, const std::string& dictionary, const std::string& data) {
  std::string text = dictionary;
  while ((10 + text.size() + 1) % 64 != 0) text += ' ';
  text += '\n';
  const std::string length{static_cast<char>(text.size() & 0xffU), static_cast<char>(text.size() >> 8U)};
  return ByteSource::from_bytes(
      test::bytes_of("\x93NUMPY" + std::string("\x01\x00", 2) + length + text + data), name);
}

ByteSource records_of_bytes(const std::string& name, int records, int samples, const std::string& data) {
  return npy(name,
             fmt::format("{{'descr': '|i1', 'fortran_order': False, 'shape': ({}, {}), }}", records, samples),
             data);
}

template <class... Sources>
std::unique_ptr<RecordReader> open(const Settings& input, Sources... sources) {
  std::vector<ByteSource> list;
  (list.push_back(std::move(sources)), ...);
  return open_npy(std::move(list), input);
}

std::string read_file(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

TEST(npy, counts_are_those_that_numpy_wrote_in_every_version_order_and_type) {
  const test::TemporaryFolder temporary;
  const auto& folder = temporary.path();
  const std::string command = fmt::format("/usr/bin/python3 {}/tests/unit/io/npy_variants.py {}",
                                          FIRSTEDGE_SOURCE_DIR, folder.string());
  ASSERT_EQ(std::system(command.c_str()), 0) << command;
  std::ifstream index(folder / "index.txt");
  std::string name;
  std::string axes;
  std::size_t records = 0;
  std::size_t channels = 0;
  std::size_t samples = 0;
  int files = 0;
  while (index >> name >> axes >> records >> channels >> samples) {
    SCOPED_TRACE(name + " " + axes);
    Settings input = input_of();
    std::vector<std::string> axis_names;
    std::stringstream list(axes);
    for (std::string axis; std::getline(list, axis, ',');) axis_names.push_back(axis);
    const bool usual = axes == "sample" || axes == "record,sample" || axes == "record,channel,sample";
    if (!usual) input.set("axes", list_of(axis_names));
    const auto reader = open(input, ByteSource::from_file(folder / (name + ".npy")));
    EXPECT_EQ(reader->description().record_count, records);
    const auto run = test::read_whole(*reader, 4);
    ASSERT_THAT(run.records, SizeIs(records));
    std::string bytes;
    for (const Record& record : run.records) {
      ASSERT_THAT(record.traces, SizeIs(channels));
      for (const Trace& trace : record.traces) {
        EXPECT_EQ(trace.size(), samples);
        bytes += test::bytes_of(trace);
      }
    }
    EXPECT_EQ(bytes, read_file(folder / (name + ".raw")));
    EXPECT_THAT(run.account.problems, IsEmpty());
    ++files;
  }
  EXPECT_EQ(files, 8 * 2 * 7 * 2);
}

TEST(npy, the_scale_of_the_setup_is_on_every_trace) {
  Settings input = input_of();
  input.set("channels", list_of({"Near", "Far"}));
  input.set("first_sample", "-20 ns");
  input.set("volts_per_count", {Settings::List{{std::string("1 mV")}, {0.002}}});
  input.set("offset", "5 mV");
  input.set("highest_count", 100.0);
  const auto reader =
      open(input, npy("run.npy", "{'descr': '|i1', 'fortran_order': False, 'shape': (1, 2, 3), }", "abcdef"));
  EXPECT_THAT(reader->description().channels, ElementsAre("Near", "Far"));
  EXPECT_EQ(reader->description().format, "npy");
  EXPECT_THAT(reader->description().guesses, ElementsAre(HasSubstr("ends of int8")));
  const auto run = test::read_whole(*reader);
  const Trace& far = run.records.at(0).traces.at(1);
  EXPECT_DOUBLE_EQ(far.interval_s, 0.2e-9);
  EXPECT_DOUBLE_EQ(far.first_sample_s, -20e-9);
  EXPECT_EQ(far.volts_per_count, 0.002);
  EXPECT_DOUBLE_EQ(run.records[0].traces[0].volts_per_count, 1e-3);
  EXPECT_DOUBLE_EQ(far.offset_v, 5e-3);
  EXPECT_EQ(far.lowest_count, -128);
  EXPECT_EQ(far.highest_count, 100);
  EXPECT_THAT(clipped_ranges(far), ElementsAre(SampleRange{0, 3})) << "'d', 'e', 'f' are 100, 101, 102";
}

TEST(npy, what_the_setup_does_not_say_is_told_and_the_interval_is_asked_for) {
  const std::string header = "{'descr': '<f4', 'fortran_order': False, 'shape': (1, 1), }";
  EXPECT_THAT(
      sentence_of([&] { open(input_of(""), npy("run.npy", header, "1234")); }),
      HasSubstr(
          "bench.json, input/interval: is missing, and the file does not tell the time between samples; "
          "add it, like \"interval\": \"0.2 ns\""));
  const auto reader = open(input_of(), npy("run.npy", header, "1234"));
  EXPECT_THAT(reader->description().guesses,
              ElementsAre(HasSubstr("first_sample"), HasSubstr("volts_per_count")));
  EXPECT_THAT(reader->description().channels, ElementsAre("channel_1"));
  Settings misspelt = input_of();
  misspelt.set("volt_per_count", 0.001);
  EXPECT_THAT(sentence_of([&] { open(misspelt, npy("run.npy", header, "1234")); }),
              HasSubstr("volt_per_count: is not a name known here"));
}

TEST(npy, several_files_follow_each_other_or_stand_side_by_side) {
  auto run = test::read_whole(
      *open(input_of(), records_of_bytes("b.npy", 2, 2, "abcd"), records_of_bytes("a.npy", 1, 3, "xyz")));
  ASSERT_THAT(run.records, SizeIs(3));
  EXPECT_EQ(test::bytes_of(run.records[2].traces[0]), "xyz") << "each record keeps its own length";
  EXPECT_EQ(run.records[2].index, 2U);
  EXPECT_EQ(run.records[2].file, 1U);

  Settings input = input_of();
  input.set("pattern", "{channel}_{record}.npy");
  run = test::read_whole(
      *open(input, records_of_bytes("B_4.npy", 1, 2, "mn"), records_of_bytes("A_4.npy", 1, 2, "op"),
            records_of_bytes("A_7.npy", 1, 2, "qr"), records_of_bytes("notes.npy", 1, 1, "x")),
      1);
  EXPECT_THAT(run.description.channels, ElementsAre("A", "B"));
  ASSERT_THAT(run.records, SizeIs(2));
  EXPECT_EQ(test::bytes_of(run.records[0].traces[0]), "op");
  EXPECT_EQ(test::bytes_of(run.records[0].traces[1]), "mn");
  EXPECT_EQ(run.records[1].index, 3U) << "records 5 and 6 keep their places";
  EXPECT_TRUE(run.records[1].traces[1].empty());
  EXPECT_EQ(run.account.traces_missing, 1U);
  EXPECT_THAT(run.account.remarks, SizeIs(3)) << "a foreign file, a missing channel, a gap";
}

TEST(npy, one_file_a_channel_of_many_records_is_joined_record_by_record) {
  Settings input = input_of();
  input.set("pattern", "{channel}.npy");
  input.set("channels", list_of({"Near", "Far"}));
  input.set("volts_per_count", {Settings::List{{1.0}, {2.0}}});
  const auto run = test::read_whole(
      *open(input, records_of_bytes("Far.npy", 3, 1, "abc"), records_of_bytes("Near.npy", 2, 1, "xy")), 2);
  ASSERT_THAT(run.records, SizeIs(3));
  EXPECT_EQ(test::bytes_of(run.records[1].traces[0]), "y");
  EXPECT_EQ(run.records[1].traces[0].volts_per_count, 1);
  EXPECT_EQ(run.records[1].traces[1].volts_per_count, 2);
  EXPECT_TRUE(run.records[2].traces[0].empty());
  EXPECT_EQ(run.account.traces_missing, 1U);
  EXPECT_THAT(run.account.remarks, ElementsAre(HasSubstr("differ in their number of records")));
}

TEST(npy, damage_is_counted_and_the_good_records_around_it_are_kept) {
  const auto run = test::read_whole(*open(input_of(), records_of_bytes("a.npy", 2, 2, "abcd"),
                                          ByteSource::from_bytes(test::bytes_of("not an array"), "b.npy"),
                                          records_of_bytes("c.npy", 4, 2, "efghi"),
                                          records_of_bytes("d.npy", 1, 2, "jk+")));
  ASSERT_THAT(run.records, SizeIs(5));
  EXPECT_EQ(test::bytes_of(run.records[3].traces[0]), "gh");
  EXPECT_EQ(run.records[2].index, 3U) << "the unreadable file stands for one record";
  EXPECT_EQ(run.records[4].index, 7U);
  EXPECT_EQ(run.account.records_good, 5U);
  EXPECT_EQ(run.account.records_bad, 3U);
  std::vector<std::string> sentences;
  for (const Error& problem : run.account.problems) sentences.emplace_back(problem.what());
  EXPECT_THAT(sentences, ElementsAre(HasSubstr("b.npy: does not start as a .npy file"),
                                     HasSubstr("c.npy: the array is cut short: 2 of 4 records are whole"),
                                     HasSubstr("d.npy: the array ends 1 bytes before the file does")));
}

TEST(npy, samples_that_are_not_numbers_are_kept_and_count_as_clipped) {
  const float nan = std::numeric_limits<float>::quiet_NaN();
  std::string data(8, '\0');
  std::memcpy(data.data() + 4, &nan, 4);
  const auto run = test::read_whole(
      *open(input_of(), npy("run.npy", "{'descr': '<f4', 'fortran_order': False, 'shape': (2,), }", data)));
  EXPECT_THAT(run.account.problems, IsEmpty());
  EXPECT_THAT(clipped_ranges(run.records.at(0).traces.at(0)), ElementsAre(SampleRange{1, 2}));
}

TEST(npy, records_are_the_same_whatever_the_block) {
  std::string data;
  for (int i = 0; i < 600; ++i) data += static_cast<char>(i * 37 % 256);
  const std::string header = "{'descr': '|i1', 'fortran_order': True, 'shape': (50, 2, 6), }";
  const auto whole = test::read_whole(*open(input_of(), npy("run.npy", header, data)), 1000);
  for (const std::size_t block : {1, 3, 49, 50}) {
    const auto run = test::read_whole(*open(input_of(), npy("run.npy", header, data)), block);
    ASSERT_THAT(run.records, SizeIs(50));
    for (std::size_t i = 0; i < 50; ++i) {
      EXPECT_EQ(run.records[i].index, i);
      for (std::size_t c = 0; c < 2; ++c) {
        EXPECT_EQ(test::bytes_of(run.records[i].traces[c]), test::bytes_of(whole.records[i].traces[c]));
      }
    }
  }
}

}  // namespace
}  // namespace firstedge
