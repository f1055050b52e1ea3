// Claims of raw binary files: every place a layout can tell is honoured, time stamps keep 1 fs, damage is
// counted.
#include "firstedge/io/binary_reader.hpp"
#include "firstedge/io/binary_time_stamp.hpp"
#include "firstedge/io/json_settings.hpp"

#include "support/reading.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <bit>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

std::string number(std::uint64_t value, int bytes, bool big_endian = false) {
  std::string text;
  for (int i = 0; i < bytes; ++i) text += static_cast<char>(value >> 8U * static_cast<unsigned>(i) & 0xffU);
  return big_endian ? std::string(text.rbegin(), text.rend()) : text;
}

std::string samples_of(const Trace& trace) {
  std::string text;
  std::visit(
      [&](const auto& counts) {
        for (const auto count : counts) text += std::to_string(static_cast<std::int64_t>(count)) + " ";
      },
      trace.counts);
  return text;
}

std::unique_ptr<RecordReader> open(const std::string& layout, const std::string& bytes) {
  std::vector<ByteSource> sources;
  sources.push_back(ByteSource::from_bytes(test::bytes_of(bytes), "run.bin"));
  return open_binary(std::move(sources), settings_from_json(layout, "layout"));
}

TEST(binary, headers_footers_order_and_interleaving_are_those_of_the_layout) {
  const std::string common = R"({"interval": "0.2 ns", "file_header_bytes": 3, "record_header_bytes": 2,
    "record_footer_bytes": 1, "channels": ["Near", "Far"], "samples": 3, "sample_type": "int16", )";
  std::string little = "HDR";
  std::string big = "HDR";
  for (int record = 0; record < 5; ++record) {
    little += "hh";
    big += "hh";
    for (int sample = 0; sample < 3; ++sample) {
      for (int channel = 0; channel < 2; ++channel) {
        little += number(static_cast<std::uint64_t>(100 * record + 10 * channel + sample), 2);
      }
    }
    for (int channel = 0; channel < 2; ++channel) {
      for (int sample = 0; sample < 3; ++sample) {
        big += number(static_cast<std::uint64_t>(-(100 * record + 10 * channel + sample)), 2, true);
      }
    }
    little += "f";
    big += "f";
  }
  const auto by_sample =
      test::read_whole(*open(common + R"("byte_order": "little", "interleaving": "by_sample"})", little), 2);
  ASSERT_THAT(by_sample.records, SizeIs(5));
  EXPECT_EQ(by_sample.description.record_count, 5U);
  EXPECT_THAT(by_sample.description.channels, ElementsAre("Near", "Far"));
  EXPECT_EQ(samples_of(by_sample.records[4].traces[0]), "400 401 402 ");
  EXPECT_EQ(samples_of(by_sample.records[4].traces[1]), "410 411 412 ");
  const auto by_channel =
      test::read_whole(*open(common + R"("byte_order": "big", "interleaving": "by_channel"})", big), 100);
  ASSERT_THAT(by_channel.records, SizeIs(5));
  EXPECT_EQ(samples_of(by_channel.records[4].traces[1]), "-410 -411 -412 ");
  EXPECT_THAT(by_channel.account.problems, IsEmpty());
}

TEST(binary, each_sample_type_is_read_exactly) {
  const auto first_sample = [](const std::string& type, const std::string& bytes) {
    return samples_of(
        test::read_whole(
            *open(R"({"interval": 1e-9, "byte_order": "big", "sample_type": ")" + type + "\"}", bytes))
            .records.at(0)
            .traces.at(0));
  };
  EXPECT_EQ(first_sample("int8", "\x80"), "-128 ");
  EXPECT_EQ(first_sample("uint8", "\xff"), "255 ");
  EXPECT_EQ(first_sample("int16", number(0x8001, 2, true)), "-32767 ");
  EXPECT_EQ(first_sample("uint16", number(0xfffe, 2, true)), "65534 ");
  EXPECT_EQ(first_sample("int32", number(0x80000001, 4, true)), "-2147483647 ");
  EXPECT_EQ(first_sample("uint32", number(0xffffffff, 4, true)), "4294967295 ");
  EXPECT_EQ(first_sample("float32", number(std::bit_cast<std::uint32_t>(-8.0F), 4, true)), "-8 ");
  EXPECT_EQ(first_sample("float64", number(std::bit_cast<std::uint64_t>(3e9), 8, true)), "3000000000 ");
}

TEST(binary, a_file_without_samples_in_its_layout_is_one_record) {
  const std::string layout = R"({"interval": 1e-9, "byte_order": "little", "sample_type": "int16"})";
  const auto run = test::read_whole(*open(layout, number(7, 2) + number(8, 2) + "+"));
  ASSERT_THAT(run.records, SizeIs(1));
  EXPECT_EQ(samples_of(run.records[0].traces[0]), "7 8 ");
  ASSERT_THAT(run.account.problems, SizeIs(1));
  EXPECT_THAT(run.account.problems[0].what(), HasSubstr("1 bytes are left after the last sample"));
}

TEST(binary, a_record_cut_short_is_counted_and_the_whole_ones_are_kept) {
  const std::string layout = R"({"interval": 1e-9, "sample_type": "int8", "samples": 4})";
  const auto run = test::read_whole(*open(layout, "abcdefghij"));
  ASSERT_THAT(run.records, SizeIs(2));
  EXPECT_EQ(run.description.record_count, 3U);
  EXPECT_EQ(run.account.records_good, 2U);
  EXPECT_EQ(run.account.records_bad, 1U);
  ASSERT_THAT(run.account.problems, SizeIs(1));
  EXPECT_THAT(run.account.problems[0].what(),
              HasSubstr("run.bin: the last record is cut short: 2 of 4 bytes"));
}

TEST(binary, a_layout_is_found_beside_the_file_by_name_or_in_the_setup) {
  const test::TemporaryFolder folder;
  const std::string layout =
      R"({"interval": "1 ns", "sample_type": "int8", "samples": 2, "channels": ["Near"]})";
  const auto first = folder.write("r1.bin", "abcd");
  const auto second = folder.write("r2.bin", "ef");
  folder.write("r1.bin.json", layout);
  folder.write("r2.bin.json", layout);
  folder.write("run.json", layout);
  auto run = test::read_whole(*open_records({folder.path()}, Settings()));
  EXPECT_EQ(run.description.format, "binary") << "known by the layout beside it";
  EXPECT_THAT(run.description.channels, ElementsAre("Near"));
  ASSERT_THAT(run.records, SizeIs(3));
  EXPECT_EQ(test::bytes_of(run.records[2].traces[0]), "ef");
  Settings input("bench.json, input");
  input.set("format", "binary");
  input.set("layout", "run.json");
  EXPECT_THAT(test::read_whole(*open_records({first, second}, input)).records, SizeIs(3));
  const auto third = folder.write("r3.bin", "gh");
  input = Settings("bench.json, input");
  input.set("format", "binary");
  EXPECT_THAT(sentence_of([&] { open_records({third}, input); }),
              HasSubstr("r3.bin: there is no layout r3.bin.json beside it"));
  run = test::read_whole(*open_records({first, third, second}, input));
  EXPECT_THAT(run.records, SizeIs(3));
  EXPECT_EQ(run.account.records_bad, 1U);
  input.set("interval", "1 ns");
  EXPECT_THAT(sentence_of([&] { open_records({first}, input); }),
              HasSubstr("bench.json, input/interval: is not a name known here"));
}

TEST(binary, one_file_a_channel_takes_its_place_in_the_lists_of_the_scale) {
  std::vector<ByteSource> sources;
  for (const char* name : {"B_1.bin", "A_1.bin"}) {
    sources.push_back(ByteSource::from_bytes(test::bytes_of(std::string(1, name[0]) + "x"), name));
  }
  const auto reader = open_binary(
      std::move(sources),
      settings_from_json(
          R"({"pattern": "{channel}_{record}.bin", "interval": ["1 ns", "2 ns"], "sample_type": "int8"})",
          "layout"));
  const auto run = test::read_whole(*reader);
  EXPECT_THAT(run.description.channels, ElementsAre("A", "B"));
  ASSERT_THAT(run.records, SizeIs(1));
  EXPECT_EQ(test::bytes_of(run.records[0].traces[0]), "Ax");
  EXPECT_DOUBLE_EQ(run.records[0].traces[1].interval_s, 2e-9);
}

TEST(binary, a_records_time_stamp_becomes_its_trigger) {
  // 2020-01-01T00:00:00Z is 1 577 836 800 s after 1970 (18 262 days of 86 400 s).
  const std::string layout =
      R"({"interval": 1e-9, "sample_type": "int8", "samples": 1, "record_header_bytes": 9,
    "time_stamp": {"offset": 1, "type": "uint64", "unit": "ns", "epoch": "1970-01-01T00:00:00Z"}})";
  const std::uint64_t nanoseconds = 1'577'836'800'000'000'000U + 123'456'789U;
  const auto run = test::read_whole(*open(layout, std::string("h") + number(nanoseconds, 8) + "s"));
  ASSERT_TRUE(run.records.at(0).trigger.has_value());
  EXPECT_EQ(to_text(*run.records[0].trigger), "2020-01-01T00:00:00.123456789000000Z");
}

TEST(binary, the_example_in_the_documents_is_a_layout) {
  std::ifstream document(FIRSTEDGE_SOURCE_DIR "/docs/file-layouts.md");
  std::string layout;
  for (std::string line; std::getline(document, line);) {
    if (layout.empty() ? line.starts_with("    {\"sample_type\"") : line.starts_with("     "))
      layout += line;
    else if (!layout.empty())
      break;
  }
  const auto run = test::read_whole(*open(layout, std::string(16 + 500 * 4, '\0')));
  ASSERT_THAT(run.records, SizeIs(1));
  EXPECT_EQ(to_text(run.records[0].trigger.value()), "2026-11-25T12:00:00.000000000000000Z");
  EXPECT_DOUBLE_EQ(run.records[0].traces.at(1).volts_per_count, 0.5e-3);
}

TimeStampLayout stamp_layout(const std::string& json) {
  return time_stamp_layout(settings_from_json(json, "stamp"), 16);
}

std::string stamp_of(const std::string& json, const std::string& header) {
  std::string padded = header;
  padded.resize(16);
  const auto instant = read_time_stamp(test::bytes_of(padded), stamp_layout(json), false);
  return instant ? to_text(*instant) : "none";
}

TEST(time_stamp, ticks_are_exact_to_a_femtosecond_far_from_the_epoch) {
  // 125 MHz: 8 ns a tick. 2^63 ticks are 73 786 976 294.838206464 s, exact in decimal; the date by
  // Python's datetime.
  EXPECT_EQ(stamp_of(R"({"offset": 0, "type": "uint64", "ticks_per_second": 125000000, "epoch": "relative"})",
                     number(std::uint64_t{1} << 63U, 8)),
            "4308-03-20T22:18:14.838206464000000 TAI");
  // Rounded to the nearest femtosecond: 2/3 s.
  EXPECT_EQ(stamp_of(R"({"offset": 0, "type": "uint32", "ticks_per_second": 3, "epoch": "relative"})",
                     number(2, 4)),
            "1970-01-01T00:00:00.666666666666667 TAI");
  EXPECT_EQ(
      stamp_of(
          R"({"offset": 0, "type": "int64", "unit": "fs", "epoch": "1980-01-06T00:00:00", "scale": "GPS"})",
          number(static_cast<std::uint64_t>(-1), 8)),
      "1980-01-05T23:59:59.999999999999999 GPS");
  EXPECT_EQ(stamp_of(R"({"offset": 8, "type": "float64", "unit": "s", "epoch": "relative"})",
                     std::string(8, '\0') + number(std::bit_cast<std::uint64_t>(-0.25), 8)),
            "1969-12-31T23:59:59.750000000000000 TAI");
}

TEST(time_stamp, seconds_and_fractions_may_stand_apart) {
  EXPECT_EQ(
      stamp_of(R"({"epoch": "1970-01-01T00:00:00Z", "parts": [{"offset": 0, "type": "uint32", "unit": "s"},
                         {"offset": 4, "type": "uint32", "unit": "ns"}]})",
               number(1'577'836'800, 4) + number(999'999'999, 4)),
      "2020-01-01T00:00:00.999999999000000Z");
}

TEST(time_stamp, what_is_no_date_is_none) {
  const std::string seconds = R"({"offset": 0, "type": "float64", "unit": "s", "epoch": "relative"})";
  for (const double value : {std::nan(""), HUGE_VAL, 1e300, 253'402'300'800.0, -62'135'596'801.0}) {
    EXPECT_EQ(stamp_of(seconds, number(std::bit_cast<std::uint64_t>(value), 8)), "none") << value;
  }
  EXPECT_EQ(stamp_of(seconds, number(std::bit_cast<std::uint64_t>(253'402'300'799.0), 8)),
            "9999-12-31T23:59:59.000000000000000 TAI");
  EXPECT_EQ(stamp_of(R"({"offset": 0, "type": "uint64", "unit": "s", "epoch": "relative"})",
                     std::string(8, '\xff')),
            "none");
}

TEST(time_stamp, a_layout_that_cannot_be_followed_is_refused) {
  const auto refusal = [](const std::string& json) { return sentence_of([&] { stamp_layout(json); }); };
  EXPECT_THAT(refusal(R"({"offset": 0, "type": "uint64", "unit": "ns"})"),
              HasSubstr("stamp, epoch: is missing"));
  EXPECT_THAT(refusal(R"({"offset": 9, "type": "uint64", "unit": "ns", "epoch": "relative"})"),
              HasSubstr("stamp, offset: is 9; give a whole number from 0 to 8"));
  EXPECT_THAT(refusal(R"({"offset": 0, "type": "uint64", "epoch": "relative"})"),
              HasSubstr("stamp, unit: is missing"));
  EXPECT_THAT(
      refusal(R"({"offset": 0, "type": "uint64", "unit": "ns", "ticks_per_second": 1, "epoch": "relative"})"),
      HasSubstr("stands beside ticks_per_second"));
  EXPECT_THAT(refusal(R"({"offset": 0, "type": "bool", "unit": "ns", "epoch": "relative"})"),
              HasSubstr("stamp, type: is 'bool'"));
  EXPECT_THAT(refusal(R"({"parts": [], "epoch": "relative"})"), HasSubstr("stamp, parts: is empty"));
  EXPECT_THAT(
      refusal(
          R"({"offset": 0, "type": "uint64", "unit": "ns", "epoch": "1970-01-01T00:00:00Z", "scale": "TAI"})"),
      HasSubstr("stamp, scale: is TAI, but the epoch is on UTC"));
}

}  // namespace
}  // namespace firstedge
