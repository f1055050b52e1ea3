// Claims of the record writer, checked with HDF5's own interface so that our reader is not its own judge.
#include "firstedge/io/record_writer.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"

#include "support/random_records.hpp"
#include "support/sentence_of.hpp"
#include "support/small_disk.hpp"
#include "support/temporary_folder.hpp"

#include <cstdint>
#include <cstdio>
#include <fstream>

#include <H5Cpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::Random;
using test::sentence_of;
using test::TemporaryFolder;
using testing::HasSubstr;

const Trace scale{.counts = {},
                  .interval_s = 2e-10,
                  .first_sample_s = -1e-8,
                  .volts_per_count = 1.25e-4,
                  .offset_v = 0.015,
                  .lowest_count = -2048,
                  .highest_count = 2047};

// Two channels of different type and size.
RecordBlock two_channels(std::size_t records, std::uint64_t seed = 7) {
  Random random(seed);
  RecordBlock block;
  for (std::size_t i = 0; i < records; ++i) {
    Record& record = block.records.emplace_back();
    record.index = i;
    record.traces = {test::random_trace(random, std::span<const std::int16_t>(), 50, scale, block),
                     test::random_trace(random, std::span<const float>(), 31, scale, block)};
  }
  return block;
}

void write_in_blocks(const std::filesystem::path& file, const RecordBlock& block, std::size_t size,
                     RecordWriterOptions options = {}) {
  options.channels = {"south", "north"};
  RecordWriter writer(file, options);
  for (std::size_t i = 0; i < block.records.size(); i += size) {
    writer.write(std::span(block.records).subspan(i, std::min(size, block.records.size() - i)));
  }
  writer.finish();
}

TEST(record_writer, writes_each_channel_as_records_by_samples_with_its_scale) {
  const TemporaryFolder folder;
  const RecordBlock block = two_channels(1300);
  write_in_blocks(folder / "run.h5", block, 1300, {.attributes = {{"bench", "Skerry test line"}}});

  const H5::H5File file((folder / "run.h5").string(), H5F_ACC_RDONLY);
  std::string layout;
  file.openAttribute("layout").read(file.openAttribute("layout").getStrType(), layout);
  EXPECT_EQ(layout, "firstedge records 1");
  EXPECT_TRUE(file.attrExists("bench"));

  const H5::Attribute order = file.openGroup("channels").openAttribute("order");
  EXPECT_EQ(order.getSpace().getSimpleExtentNpoints(), 2);
  std::array<char, 10> names{};
  order.read(order.getStrType(), names.data());
  EXPECT_EQ(std::string(names.data(), 10), "southnorth");

  const H5::DataSet dataset = file.openDataSet("/channels/south");
  std::array<hsize_t, 2> shape{};
  dataset.getSpace().getSimpleExtentDims(shape.data());
  EXPECT_THAT(shape, testing::ElementsAre(1300, 50));
  EXPECT_TRUE(dataset.getDataType() == H5::PredType::STD_I16LE);
  std::vector<std::int16_t> counts(1300 * 50);
  dataset.read(counts.data(), H5::PredType::NATIVE_INT16);
  for (std::size_t i = 0; i < 1300; ++i) {
    const auto samples = std::get<std::span<const std::int16_t>>(block.records[i].traces[0].counts);
    ASSERT_TRUE(std::equal(samples.begin(), samples.end(), counts.begin() + static_cast<long>(50 * i)));
  }
  const auto number = [&](const char* name) {
    double value = 0;
    dataset.openAttribute(name).read(H5::PredType::NATIVE_DOUBLE, &value);
    return value;
  };
  EXPECT_EQ(number("interval_s"), scale.interval_s);
  EXPECT_EQ(number("first_sample_s"), scale.first_sample_s);
  EXPECT_EQ(number("volts_per_count"), scale.volts_per_count);
  EXPECT_EQ(number("offset_v"), scale.offset_v);
  EXPECT_EQ(number("lowest_count"), scale.lowest_count);
  EXPECT_EQ(number("highest_count"), scale.highest_count);
  EXPECT_FALSE(file.exists("triggers"));
  EXPECT_FALSE(file.exists("horizontal_offsets"));
}

TEST(record_writer, triggers_and_first_sample_times_are_kept_from_where_they_begin) {
  const TemporaryFolder folder;
  RecordBlock block = two_channels(3);
  block.records[1].trigger = Instant{TimeScale::tai, 1'764'052'620, 123'456'789'012'345};
  block.records[2].traces[0].first_sample_s = -1.0000000001e-8;
  write_in_blocks(folder / "run.h5", block, 3);

  const H5::H5File file((folder / "run.h5").string(), H5F_ACC_RDONLY);
  std::array<std::int64_t, 3> seconds{}, femtoseconds{};
  std::array<std::uint8_t, 3> time_scale{};
  file.openDataSet("/triggers/seconds").read(seconds.data(), H5::PredType::NATIVE_INT64);
  file.openDataSet("/triggers/femtoseconds").read(femtoseconds.data(), H5::PredType::NATIVE_INT64);
  file.openDataSet("/triggers/scale").read(time_scale.data(), H5::PredType::NATIVE_UINT8);
  EXPECT_THAT(seconds, testing::ElementsAre(0, 1'764'052'620, 0));
  EXPECT_THAT(femtoseconds, testing::ElementsAre(0, 123'456'789'012'345, 0));
  EXPECT_THAT(time_scale, testing::ElementsAre(255, 1, 255));

  std::array<double, 3> offsets{};
  file.openDataSet("/horizontal_offsets/south").read(offsets.data(), H5::PredType::NATIVE_DOUBLE);
  EXPECT_THAT(offsets, testing::ElementsAre(-1e-8, -1e-8, -1.0000000001e-8));
  double first_sample_s = 1;
  file.openDataSet("/channels/south")
      .openAttribute("first_sample_s")
      .read(H5::PredType::NATIVE_DOUBLE, &first_sample_s);
  EXPECT_EQ(first_sample_s, 0);
  EXPECT_FALSE(file.exists("/horizontal_offsets/north"));
}

TEST(record_writer, the_same_records_give_the_same_bytes_however_they_are_cut) {
  const TemporaryFolder folder;
  RecordBlock block = two_channels(5000);
  for (std::size_t i = 700; i < block.records.size(); ++i) {
    block.records[i].trigger = Instant{TimeScale::utc, static_cast<std::int64_t>(i), 1};
    block.records[i].traces[1].first_sample_s += 1e-12 * static_cast<double>(i);
  }
  for (const std::size_t size : {1U, 7U, 1024U, 5000U}) {
    write_in_blocks(folder / (std::to_string(size) + ".h5"), block, size);
    EXPECT_EQ(sha256_of_file(folder / (std::to_string(size) + ".h5")), sha256_of_file(folder / "1.h5"));
  }
}

TEST(record_writer, contiguous_records_stand_one_after_the_other_in_the_file) {
  const TemporaryFolder folder;
  const RecordBlock block = two_channels(150);
  write_in_blocks(folder / "run.h5", block, 13, {.contiguous_records = 150});
  const H5::H5File file((folder / "run.h5").string(), H5F_ACC_RDONLY);
  const H5::DataSet dataset = file.openDataSet("/channels/south");
  EXPECT_EQ(dataset.getCreatePlist().getLayout(), H5D_CONTIGUOUS);
  std::vector<std::int16_t> counts(150 * 50);
  dataset.read(counts.data(), H5::PredType::NATIVE_INT16);
  const auto last = std::get<std::span<const std::int16_t>>(block.records[149].traces[0].counts);
  EXPECT_TRUE(std::equal(last.begin(), last.end(), counts.begin() + 149 * 50));
}

TEST(record_writer, the_file_has_its_name_only_when_it_is_whole) {
  const TemporaryFolder folder;
  const RecordBlock block = two_channels(3);
  {
    RecordWriter writer(folder / "run.h5", {.channels = {"a", "b"}});
    writer.write(block);
    EXPECT_FALSE(std::filesystem::exists(folder / "run.h5"));
    EXPECT_TRUE(std::filesystem::exists(folder / "run.h5.part"));
  }
  EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
  write_in_blocks(folder / "run.h5", block, 3);
  EXPECT_TRUE(std::filesystem::exists(folder / "run.h5"));
  EXPECT_FALSE(std::filesystem::exists(folder / "run.h5.part"));
}

TEST(record_writer, what_cannot_be_written_is_refused_in_one_sentence) {
  const TemporaryFolder folder;
  const auto with = [&](const RecordWriterOptions& options, const RecordBlock& block) {
    return sentence_of([&] {
      RecordWriter writer(folder / "run.h5", options);
      writer.write(block);
      writer.finish();
    });
  };
  const std::vector<std::string> channels{"a", "b"};
  EXPECT_THAT(with({}, {}), HasSubstr("no channels to write"));
  for (const std::string name : {"", "/x", "..", "b\n"}) {
    EXPECT_THAT(with({.channels = {"a", name}}, {}), HasSubstr("the channel name"));
  }
  EXPECT_THAT(with({.channels = {"a", "a"}}, {}), HasSubstr("stands twice"));
  EXPECT_THAT(with({.channels = channels, .deflate_level = 10}, {}), HasSubstr("deflate level"));
  EXPECT_THAT(with({.channels = channels}, {}), HasSubstr("no record was written"));
  EXPECT_THAT(with({.channels = channels, .contiguous_records = 5}, two_channels(4)),
              HasSubstr("contiguous_records promised 5"));
  EXPECT_THAT(with({.channels = channels, .contiguous_records = 3}, two_channels(4)),
              HasSubstr("record 3: is more than the 3 promised"));
  EXPECT_THAT(with({.channels = {"a"}}, two_channels(1)), HasSubstr("has 2 traces for 1 channels"));

  RecordBlock missing = two_channels(3);
  missing.records[2].traces[1] = {};
  EXPECT_THAT(with({.channels = channels}, missing), HasSubstr("record 2, channel 'b': the trace has no"));
  RecordBlock differing = two_channels(3);
  differing.records[1].traces[0].volts_per_count *= 2;
  EXPECT_THAT(with({.channels = channels}, differing),
              HasSubstr("record 1, channel 'a': differs from the first"));
  EXPECT_THAT(sentence_of([&] { RecordWriter(folder / "none" / "run.h5", {.channels = {"a"}}); }),
              HasSubstr("cannot be written (No such file or directory)"));
}

TEST(record_writer, a_refused_record_leaves_the_others_writable) {
  const TemporaryFolder folder;
  const RecordBlock good = two_channels(3);
  RecordBlock bad = two_channels(1);
  bad.records[0].traces[1] = {};
  write_in_blocks(folder / "plain.h5", good, 3);
  RecordWriter writer(folder / "run.h5", {.channels = {"south", "north"}});
  writer.write(good);
  EXPECT_THROW(writer.write(bad), Error);
  writer.finish();
  EXPECT_EQ(sha256_of_file(folder / "run.h5"), sha256_of_file(folder / "plain.h5"));
}

TEST(record_writer, a_full_disk_gives_one_sentence_and_leaves_no_file) {
  const TemporaryFolder folder;
  for (const std::size_t kilobytes : {4U, 16U, 900U}) {
    const auto printed =
        test::printed_on_small_disk(folder.path(), kilobytes << 10U, [](const std::filesystem::path& disk) {
          std::puts(sentence_of([&] { write_in_blocks(disk / "run.h5", two_channels(20000), 100); }).c_str());
          std::puts(std::filesystem::is_empty(disk) ? "empty" : "not empty");
        });
    if (!printed) GTEST_SKIP() << "this machine does not let a test mount a small disk";
    EXPECT_THAT(*printed, testing::MatchesRegex(".*/run.h5: cannot be written.*; check the.*\nempty\n"));
  }
}

}  // namespace
}  // namespace firstedge
