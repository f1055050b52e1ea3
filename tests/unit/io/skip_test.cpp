// Claims of passing over records unread: those that are left are the ones that reading through gives, with
// the same indexes and samples, whatever the format, the files, and what is damaged.
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/record_writer.hpp"
#include "firstedge/io/setup.hpp"

#include "support/random_records.hpp"
#include "support/temporary_folder.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::TemporaryFolder;

struct Met {
  std::uint64_t index = 0;
  std::vector<std::vector<double>> samples;
  friend bool operator==(const Met&, const Met&) = default;
};

std::vector<Met> all_of(RecordReader& reader) {
  std::vector<Met> met;
  for (RecordBlock block = reader.next_block(3); !block.records.empty(); block = reader.next_block(3)) {
    for (const Record& record : block.records) {
      Met& one = met.emplace_back(Met{.index = record.index, .samples = {}});
      for (const Trace& trace : record.traces) one.samples.push_back(volts(trace));
    }
  }
  return met;
}

// Every index that can be skipped to; the formats that can skip must have skipped.
void expect_the_same(const TemporaryFolder& folder, const std::string& input, bool skips) {
  const firstedge::Setup setup = parse_setup(R"({"input": )" + input + "}", "test");
  const auto open = [&] { return open_records({folder.path()}, setup.input); };
  const std::vector<Met> all = all_of(*open());
  ASSERT_GT(all.size(), 10U);
  for (std::uint64_t index = 0; index < all.back().index + 3; ++index) {
    const auto reader = open();
    const std::uint64_t from = reader->skip_to(index);
    const std::vector<Met> left = all_of(*reader);
    const auto first =
        std::find_if(all.begin(), all.end(), [&](const Met& met) { return met.index >= from; });
    EXPECT_TRUE(std::equal(first, all.end(), left.begin(), left.end()))
        << "to " << index << ", from " << from;
    EXPECT_TRUE(!skips || from >= std::min(index, all.back().index + 1)) << "to " << index;
  }
}

constexpr std::size_t npy_head = 128;

std::string npy(int records, int first) {
  std::string text = fmt::format("{{'descr': '|i1', 'fortran_order': False, 'shape': ({}, 2), }}", records);
  text.resize(npy_head - 11, ' ');
  std::string file =
      std::string("\x93NUMPY\x01\x00", 8) + static_cast<char>(npy_head - 10) + '\0' + text + '\n';
  for (int i = 0; i < 2 * records; ++i) file += static_cast<char>(first + i);
  return file;
}

TEST(skip_to, in_our_own_files_one_after_the_other) {
  const TemporaryFolder folder;
  test::Random random(4);
  for (int file = 0; file < 3; ++file) {
    RecordWriter writer(folder / fmt::format("run_{}.h5", file), {.channels = {"a", "b"}});
    RecordBlock block;
    for (int r = 0; r < 4 + file; ++r) {
      Record& record = block.records.emplace_back();
      for (int c = 0; c < 2; ++c)
        record.traces.push_back(test::random_trace(random, std::span<const std::int16_t>(), 5,
                                                   {.interval_s = 1e-9, .first_sample_s = 1e-9 * r}, block));
    }
    writer.write(block);
    writer.finish();
  }
  expect_the_same(folder, "{}", true);
}

TEST(skip_to, in_npy_files_with_one_that_is_cut_and_one_that_is_none) {
  const TemporaryFolder folder;
  folder.write("r1.npy", npy(7, 0));
  folder.write("r2.npy", npy(7, 20).substr(0, npy_head + 9));
  folder.write("r3.npy", "junk");
  folder.write("r4.npy", npy(5, 60));
  expect_the_same(folder, R"({"format": "npy", "interval": "1 ns"})", true);
}

TEST(skip_to, in_files_of_channels_that_differ_in_length) {
  const TemporaryFolder folder;
  folder.write("a_1.npy", npy(7, 0));
  folder.write("b_1.npy", npy(4, 20));
  folder.write("a_4.npy", npy(2, 40));
  folder.write("a_20.npy", npy(3, 60));
  folder.write("b_20.npy", npy(6, 80));
  expect_the_same(folder, R"({"format": "npy", "interval": "1 ns", "pattern": "{channel}_{record}.npy"})",
                  true);
}

TEST(skip_to, in_raw_binary_files) {
  const TemporaryFolder folder;
  for (const char* name : {"r1.bin", "r2.bin"}) folder.write(name, "HabHcdHefHghHijHklHmnH");
  expect_the_same(folder, R"({"format": "binary", "interval": "1 ns", "sample_type": "int8", "samples": 2,
                             "record_header_bytes": 1, "channels": ["a"]})",
                  true);
}

TEST(skip_to, a_format_that_cannot_skip_gives_all_records) {
  const TemporaryFolder folder;
  for (int r = 10; r < 25; ++r)
    folder.write(fmt::format("r{}.csv", r), fmt::format("time_s,a_V\n0,0.{}\n1e-9,0.2\n2e-9,0.1\n", r));
  expect_the_same(folder, R"({"pattern": "r{record}.csv"})", false);
}

}  // namespace
}  // namespace firstedge
