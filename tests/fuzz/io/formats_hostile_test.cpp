// Hostile and damaged .npy, binary and block files, Setups and file-name patterns: each gives one sentence,
// none a crash, and the good records around the damage are kept. Then random damage, which must give a
// sentence or records.
#include "firstedge/io/binary_reader.hpp"
#include "firstedge/io/block_reader.hpp"
#include "firstedge/io/file_pattern.hpp"
#include "firstedge/io/json_settings.hpp"
#include "firstedge/io/npy_reader.hpp"
#include "firstedge/io/setup.hpp"

#include "support/random.hpp"
#include "support/reading.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <filesystem>
#include <functional>
#include <ostream>
#include <string>
#include <utility>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using testing::HasSubstr;

using Open = std::unique_ptr<RecordReader> (*)(std::vector<ByteSource>, const Settings&);

// A .npy file of the version given with this text as its header, the length declared as it is.
std::string npy(const std::string& text, const std::string& data = "", int version = 1) {
  std::string file = "\x93NUMPY";
  file += static_cast<char>(version);
  file += '\0';
  for (std::size_t i = 0; i < (version == 1 ? 2U : 4U); ++i)
    file += static_cast<char>(text.size() >> 8U * i & 0xffU);
  return file + text + data;
}

std::string array(const std::string& descr, const std::string& shape, const std::string& data = "",
                  const std::string& order = "False") {
  std::string text = "{'descr': ";
  text += descr + ", 'fortran_order': " + order + ", 'shape': " + shape + ", }\n";
  return npy(text, data);
}

std::string repeated(const std::string& text, int times) {
  std::string all;
  for (int i = 0; i < times; ++i) all += text;
  return all;
}

/// One hostile file: what it is, who reads it with which settings, its bytes, a part of the sentence it must
/// give, and how many records are still read or counted bad.
struct Case {
  std::string name;
  Open open = nullptr;
  std::string input;
  std::string bytes;
  std::string sentence;
  std::uint64_t good = 0;
  std::uint64_t bad = 0;
};

std::ostream& operator<<(std::ostream& out, const Case& one) {
  return out << one.name;
}

const std::string npy_input = R"({"interval": "1 ns"})";

std::vector<Case> npy_header_cases() {
  const auto one = [](const std::string& name, const std::string& bytes, const std::string& sentence) {
    return Case{"npy_" + name, open_npy, npy_input, bytes, sentence};
  };
  return {
      one("empty", "", "run: is empty"),
      one("magic_only", "\x93NUMPY", "ends inside its .npy header"),
      one("version_2_without_its_length", std::string("\x93NUMPY\x02\x00\x01\x00", 10),
          "ends inside its .npy header"),
      one("version_9", npy("{}", "", 9), ".npy version 9.0, not 1.0, 2.0 or 3.0"),
      one("header_longer_than_the_file", array("'|i1'", "(4,)").substr(0, 30), "ends inside its .npy header"),
      one("header_of_4_gigabytes", std::string("\x93NUMPY\x02\x00\xff\xff\xff\xff{}", 14),
          "a .npy header of 4294967295 bytes, more than 10000"),
      one("header_empty", npy(""), "byte 10: the .npy header should have '{' here"),
      one("header_not_ascii", npy("{'descr': '|i1\xc3\xa9'}"), "byte 24: the .npy header is not ASCII"),
      one("header_of_nul_bytes", npy(std::string(100, '\0')), "should have '{' here"),
      one("expression_for_the_type", array("__import__('os').system('id')", "(4,)"),
          "should have a text in quotes here"),
      one("expression_for_the_shape", array("'|i1'", "(2**40,)", "abcd"),
          "should have ',' or ')' in the shape"),
      one("expression_for_the_order", array("'|i1'", "(4,)", "abcd", "not True"),
          "should have True or False"),
      one("expression_after_the_dictionary",
          npy("{'descr': '|i1', 'fortran_order': False, 'shape': (4,)} or 1", "abcd"),
          "goes on after the dictionary"),
      one("key_given_twice",
          npy("{'shape': (4,), 'shape': (8,), 'descr': '|i1', 'fortran_order': False}", "abcd"),
          "gives 'shape' twice"),
      one("key_missing", npy("{'descr': '|i1', 'shape': (4,)}", "abcd"), "lacks one of"),
      one("key_unknown", npy("{'descr': '|i1', 'colour': 1}", "abcd"), "has the key 'colour'"),
      one("quote_never_closed", npy("{'descr"), "without its closing quote"),
      one("backslash_in_a_text", npy("{'\\x64escr': '|i1'}"), "has a backslash in a text"),
      one("type_of_objects", array("'|O'", "(4,)", "abcd"), "samples of type '|O'"),
      one("type_complex", array("'<c8'", "(1,)", "abcdefgh"), "samples of type '<c8'"),
      one("type_without_byte_order", array("'|i2'", "(2,)", "abcd"), "samples of type '|i2'"),
      one("type_empty", array("''", "(2,)", "abcd"), "samples of type ''"),
      one("type_structured", array("[('a', '<i2')]", "(2,)", "abcd"), "a structured type"),
      one("shape_negative", array("'|i1'", "(-4,)", "abcd"), "should have a size"),
      one("shape_broken_number", array("'|i1'", "(4.0,)", "abcd"), "should have ',' or ')'"),
      one("shape_beyond_64_bits", array("'|i1'", "(99999999999999999999,)", "abcd"),
          "a size too large for any file"),
      one("shape_of_a_thousand_axes", array("'|i1'", std::string("(") + repeated("1,", 1000) + ")", "a"),
          "more than 32 axes"),
      one("shape_not_a_tuple", array("'|i1'", "(4)", "abcd"), "not a tuple"),
  };
}

std::vector<Case> npy_array_cases() {
  const auto one = [](const std::string& name, const std::string& bytes, const std::string& sentence,
                      std::uint64_t good = 0, std::uint64_t bad = 0) {
    return Case{"npy_" + name, open_npy, npy_input, bytes, sentence, good, bad};
  };
  const auto other = [](const std::string& name, const std::string& input, const std::string& sentence) {
    return Case{"npy_" + name, open_npy, input, array("'|i1'", "(4,)", "abcd"), sentence};
  };
  return {
      one("no_axis", array("'|i1'", "()", "a"), "an array of 0 axes"),
      one("four_axes", array("'|i1'", "(1, 1, 2, 2)", "abcd"), "an array of 4 axes"),
      one("product_overflows", array("'<f8'", "(4611686018427387904, 4)", "abcd"),
          "more bytes than any file has"),
      one("product_overflows_to_zero", array("'|i1'", "(4294967296, 4294967296)", "abcd"),
          "one record has more than"),
      one("one_record_of_terabytes", array("'<f8'", "(1, 1000000000000)", "abcd"),
          "one record has more than 1073741824 bytes"),
      one("no_record", array("'|i1'", "(0, 4)"), "the array has no record"),
      one("no_sample", array("'|i1'", "(4, 0)"), "the array has no sample"),
      one("fewer_bytes_than_one_record", array("'|i1'", "(1, 4)", "abc"),
          "the array needs 4 bytes, the file has 3"),
      one("cut_short", array("'|i1'", "(3, 4)", "abcdefghij"), "2 of 3 records are whole", 2, 1),
      one("cut_short_of_very_many", array("'|i1'", "(1000000000000000000, 4)", "abcdefghij"),
          "2 of 1000000000000000000 records are whole", 2, 999'999'999'999'999'998),
      one("fortran_order_cut_short", array("'|i1'", "(3, 4)", "abcdefghij", "True"),
          "the array needs 12 bytes, the file has 10"),
      one("bytes_after_the_array", array("'|i1'", "(1, 4)", "abcdefg"), "ends 3 bytes before the file does",
          1),
      other("axes_that_are_none", R"({"interval": 1, "axes": ["time"]})", "axes: is not a list of"),
      other("axes_without_sample", R"({"interval": 1, "axes": ["record"]})", "axes: is not a list of"),
      other("axes_twice", R"({"interval": 1, "axes": ["sample", "sample"]})", "axes: is not a list of"),
      other("axes_of_another_number", R"({"interval": 1, "axes": ["record", "sample"]})",
            "an array of 1 axes, \"axes\" names 2"),
      other("interval_missing", "{}", "interval: is missing"),
      other("interval_zero", R"({"interval": 0})", "interval: is not above 0"),
      other("interval_infinite", R"({"interval": "1e308 Ts"})", "interval: is too large for a number"),
      other("interval_in_volts", R"({"interval": "1 V"})",
            "interval: holds the text '1 V', not a quantity in s"),
      other("scale_of_other_channels", R"({"interval": 1, "volts_per_count": [1, 2]})",
            "volts_per_count: has 2 values for 1 channels"),
      other("limits_turned_round", R"({"interval": 1, "lowest_count": 5, "highest_count": 5})",
            "lowest_count: is not below highest_count"),
      other("names_of_other_channels", R"({"interval": 1, "channels": ["A", "B"]})",
            "channels: has 2 names for 1"),
      other("pattern_that_fits_nothing", R"({"interval": 1, "pattern": "{channel}_{record}.npy"})",
            "none of 1 file fits the pattern"),
  };
}

std::vector<Case> binary_cases() {
  const auto one = [](const std::string& name, const std::string& more, const std::string& bytes,
                      const std::string& sentence, std::uint64_t good = 0, std::uint64_t bad = 0) {
    return Case{"binary_" + name,
                open_binary,
                R"({"interval": 1, "sample_type": "int16")" + more + "}",
                bytes,
                sentence,
                good,
                bad};
  };
  const std::string big = R"(, "byte_order": "big")";
  const std::string four = big + R"(, "samples": 2)";
  return {
      one("empty", four, "", "run: is empty"),
      one("shorter_than_a_record", four, "abc", "holds no whole record: 3 bytes of 4"),
      one("cut_short", four, "abcdefghi", "the last record is cut short: 1 of 4 bytes", 2, 1),
      one("ends_inside_its_header", big + R"(, "file_header_bytes": 100)", "abc",
          "inside its header: 3 of 100 bytes"),
      {"binary_no_layout", open_binary, R"({"format": "binary"})", "abcd",
       "there is no layout run.json beside it"},
      {"binary_type_unknown", open_binary, R"({"sample_type": "int12"})", "abcd", "sample_type: is 'int12'"},
      {"binary_type_not_a_text", open_binary, R"({"sample_type": 16})", "abcd", "sample_type: is a number"},
      one("no_byte_order", "", "abcd", "byte_order: is missing"),
      one("layout_in_two_places", R"(, "layout": "run.json")", "abcd", "layout: stands beside sample_type"),
      one("header_negative", big + R"(, "record_header_bytes": -1)", "abcd",
          "record_header_bytes: is -1; give a whole"),
      one("header_broken_number", big + R"(, "record_header_bytes": 0.5)", "abcd",
          "record_header_bytes: is 0.5"),
      one("header_huge", big + R"(, "record_header_bytes": 1e300)", "abcd", "record_header_bytes: is 1e+300"),
      one("samples_none", big + R"(, "samples": 0)", "abcd", "samples: is 0"),
      one("record_huge", big + R"(, "samples": 1073741824)", "abcd",
          "samples: makes records of 2147483648 bytes"),
      one("no_interleaving", big + R"(, "channels": ["A", "B"])", "abcd",
          "interleaving: is missing for 2 channels"),
      one("channels_twice", big + R"(, "channels": ["A", "A"])", "abcd", "channels: has 'A' twice"),
      one("channels_none", big + R"(, "channels": [])", "abcd", "channels: is an empty list"),
      one("name_unknown", big + R"(, "sampels": 4)", "abcd", "sampels: is not a name known here"),
      one("time_stamp_outside_the_header",
          big + R"(, "record_header_bytes": 4, "time_stamp": {"offset": 0, "type": "uint64", "unit": "ns",
                    "epoch": "relative"})",
          "abcdef", "time_stamp/offset: has no place in a record header of 4 bytes"),
      one("time_stamp_is_no_date",
          big + R"(, "samples": 1, "record_header_bytes": 8, "time_stamp": {"offset": 0, "type": "float64",
                    "unit": "s", "epoch": "1970-01-01T00:00:00Z"})",
          std::string(8, '\xff') + "ab" + std::string(8, '\0') + "cd", "time stamp is not a date", 2),
  };
}

std::vector<Case> block_cases() {
  const auto one = [](const std::string& name, const std::string& bytes, const std::string& sentence,
                      std::uint64_t good = 0, std::uint64_t bad = 0) {
    return Case{
        "block_" + name, open_block, R"({"interval": 1, "sample_type": "int8"})", bytes, sentence, good, bad};
  };
  const std::string with_text = R"({"interval": 1, "sample_type": "int8", "text_before_block": true})";
  return {
      one("empty", "", "run: is empty"),
      one("separators_only", " \n;\r\n", "holds no block"),
      one("hash_only", "#", "is not followed by a digit"),
      one("hash_and_letter", "#x12", "is not followed by a digit"),
      one("short_digits", "#9123", "the block's length should have 9 digits"),
      one("digits_with_a_letter", "#41x34abcd", "the block's length should have 4 digits"),
      one("digits_with_a_sign", "#3-12abcd", "the block's length should have 3 digits"),
      one("longer_than_the_file", "#9999999999ab", "a block of 999999999 bytes, but 2 are left"),
      one("second_longer_than_the_file", "#12ab#3999cd", "a block of 999 bytes, but 2 are left", 1, 1),
      one("no_bytes", "#10#12ab", "a block of 0 bytes is no whole number of samples", 1, 1),
      one("indefinite_without_anything", "#12ab#0", "does not end with a line feed", 1, 1),
      one("indefinite_with_line_feed_only", "#12ab#0\n", "a block of 0 bytes", 1, 1),
      one("garbage_between_blocks", std::string("#12ab\0#12cd", 11), "a block should start here", 1, 1),
      {"block_half_a_sample", open_block, R"({"interval": 1, "sample_type": "int16", "byte_order": "big"})",
       "#13abc#12ef", "a block of 3 bytes is no whole number of samples", 1, 1},
      {"block_no_end_of_text", open_block, with_text, std::string(100000, 'x') + "#12ab",
       "no block in 65536 bytes of text"},
      {"block_no_text_before_it", open_block, with_text, "ab\x01\x02#12ab",
       "byte 2: neither text nor a block"},
      {"block_word_unknown", open_block, R"({"interval": 1, "sample_type": "int8", "block_holds": "trace"})",
       "#12ab", "block_holds: is 'trace'; choose one of record, channel"},
      {"block_header_beyond_the_file", open_block,
       R"({"interval": 1, "sample_type": "int8", "file_header_bytes": 1000})", "#12ab",
       "ends inside its header"},
  };
}

/// What a reader says of the bytes, and what it could still read. Every sample is touched.
struct Outcome {
  std::string sentences;
  test::ReadRun run;
};

Outcome read(const Case& one, const std::string& bytes) {
  Outcome outcome;
  outcome.sentences = test::sentence_of([&] {
    std::vector<ByteSource> sources;
    sources.push_back(ByteSource::from_bytes(test::bytes_of(bytes), "run"));
    outcome.run = test::read_whole(*one.open(std::move(sources), settings_from_json(one.input, "input")));
  });
  for (const Error& problem : outcome.run.account.problems) outcome.sentences += problem.what();
  for (const Record& record : outcome.run.records) {
    for (const Trace& trace : record.traces) {
      EXPECT_EQ(volts(trace).size(), trace.size());
      EXPECT_GT(trace.interval_s, 0);
    }
  }
  return outcome;
}

void expect_clean(const std::string& sentence) {
  EXPECT_LT(sentence.size(), 1300U);  // three parts of at most 400 bytes
  EXPECT_EQ(std::count_if(sentence.begin(), sentence.end(), [](unsigned char c) { return c < 0x20; }), 0)
      << sentence;
}

class HostileFile : public testing::TestWithParam<Case> {};

TEST_P(HostileFile, gives_one_sentence_and_its_good_records) {
  const Case& one = GetParam();
  const Outcome outcome = read(one, one.bytes);
  EXPECT_THAT(outcome.sentences, HasSubstr(one.sentence));
  EXPECT_THAT(outcome.sentences, HasSubstr("; ")) << "a remedy follows";
  expect_clean(outcome.sentences);
  EXPECT_EQ(outcome.run.account.records_good, one.good);
  EXPECT_EQ(outcome.run.records.size(), one.good);
  EXPECT_EQ(outcome.run.account.records_bad, one.bad);
}

std::string name_of(const testing::TestParamInfo<Case>& info) {
  return info.param.name;
}

INSTANTIATE_TEST_SUITE_P(npy_header, HostileFile, testing::ValuesIn(npy_header_cases()), name_of);
INSTANTIATE_TEST_SUITE_P(npy_array, HostileFile, testing::ValuesIn(npy_array_cases()), name_of);
INSTANTIATE_TEST_SUITE_P(binary, HostileFile, testing::ValuesIn(binary_cases()), name_of);
INSTANTIATE_TEST_SUITE_P(block, HostileFile, testing::ValuesIn(block_cases()), name_of);

TEST(hostile_file, a_sparse_file_of_terabytes_is_refused_before_memory_is_asked_for) {
  const test::TemporaryFolder folder;
  const auto file = folder.write("run.bin", "x");
  std::error_code failure;
  std::filesystem::resize_file(file, std::uintmax_t{1} << 41U, failure);
  if (failure) GTEST_SKIP() << "no sparse files here: " << failure.message();
  EXPECT_THAT(test::sentence_of([&] {
                std::vector<ByteSource> sources;
                sources.push_back(ByteSource::from_file(file));
                open_binary(std::move(sources),
                            settings_from_json(R"({"interval": 1, "sample_type": "int8"})", "input"));
              }),
              HasSubstr("is one record of 2199023255552 bytes, more than 1073741824"));
  EXPECT_THAT(test::sentence_of([&] { read_setup(file); }), HasSubstr("give at most 1048576 bytes"));
}

// Sound files, for random damage.
std::vector<Case> sound_files() {
  const std::string floats = repeated(std::string("\x00\x00\x80\x3f", 4), 24);
  const std::string stamped =
      R"({"interval": 1, "sample_type": "uint16", "byte_order": "little", "samples": 2,
      "record_header_bytes": 10, "time_stamp": {"offset": 1, "type": "float64", "unit": "s", "epoch": "relative"}})";
  const std::string blocks = R"({"interval": 1, "sample_type": "int8", "text_before_block": )";
  return {
      {"npy_records", open_npy, npy_input, array("'|i1'", "(6, 4)", "abcdefghijklmnopqrstuvwx"), ""},
      {"npy_channels", open_npy, npy_input, array("'<f4'", "(3, 2, 4)", floats, "True"), ""},
      {"npy_version_2", open_npy, npy_input,
       npy("{'descr': '>f4', 'fortran_order': False, 'shape': (24,)}", floats, 2), ""},
      {"binary_stamped", open_binary, stamped, repeated("0123456789abcd", 5), ""},
      {"block_several", open_block, blocks + "false}", "#14abcd\n#204efgh;#9000000004ijkl,#0mnop\n", ""},
      {"block_text", open_block, blocks + "true}", "DATA #14abcd\nDATA #14efgh\n", ""},
  };
}

std::string damaged(std::string bytes, test::Random& random) {
  const auto byte = [&] { return static_cast<char>(static_cast<unsigned char>(random.uniform(0, 256))); };
  const int changes = static_cast<int>(random.uniform(1, 6));
  for (int change = 0; change < changes && !bytes.empty(); ++change) {
    const auto at = static_cast<std::size_t>(random.uniform(0, static_cast<double>(bytes.size())));
    const double kind = random.uniform(0, 1);
    if (kind < 0.5) {
      bytes[at] = byte();
    } else if (kind < 0.7) {
      bytes[at] = "0123456789(),'{}#-"[static_cast<std::size_t>(random.uniform(0, 18))];
    } else if (kind < 0.8) {
      bytes.resize(at);
    } else if (kind < 0.9) {
      bytes.insert(at, 1, byte());
    } else {
      bytes.erase(at, static_cast<std::size_t>(random.uniform(1, 8)));
    }
  }
  return bytes;
}

TEST(hostile_file, random_damage_gives_a_sentence_or_records) {
  test::Random random(20260211);
  for (const Case& one : sound_files()) {
    SCOPED_TRACE(one.name);
    const Outcome whole = read(one, one.bytes);
    ASSERT_EQ(whole.sentences, "");
    ASSERT_FALSE(whole.run.records.empty());
    for (int round = 0; round < 1500; ++round) {
      const Outcome outcome = read(one, damaged(one.bytes, random));
      EXPECT_TRUE(!outcome.sentences.empty() || !outcome.run.records.empty());
      EXPECT_EQ(outcome.run.account.records_good, outcome.run.records.size());
      EXPECT_TRUE(outcome.run.account.records_bad == 0 || !outcome.sentences.empty())
          << "no loss without a word";
    }
  }
}

}  // namespace
}  // namespace firstedge
