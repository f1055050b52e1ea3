// Claims of the HDF5 reader on our own layout: it reads back bit for bit what the writer wrote.
#include "firstedge/io/hdf5_reader.hpp"
#include "firstedge/io/record_writer.hpp"

#include "support/hdf5_maker.hpp"
#include "support/input_settings.hpp"
#include "support/random_records.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <cstdint>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::list;
using test::Random;
using test::read_run;
using test::sentence_of;
using test::settings;
using test::TemporaryFolder;
using test::text;
using test::WholeRun;
using testing::ElementsAre;
using testing::HasSubstr;

// A record of every sample type, with random scale, first sample and trigger.
RecordBlock random_run(std::uint64_t seed, std::size_t records) {
  Random random(seed);
  const std::vector<Counts> types{std::span<const std::int8_t>(),   std::span<const std::int16_t>(),
                                  std::span<const std::int32_t>(),  std::span<const std::uint8_t>(),
                                  std::span<const std::uint16_t>(), std::span<const float>(),
                                  std::span<const double>()};
  std::vector<Trace> scales;
  std::vector<std::size_t> sizes;
  for (std::size_t i = 0; i < types.size(); ++i) {
    scales.push_back({.counts = {},
                      .interval_s = random.uniform(1e-12, 1e-8),
                      .first_sample_s = random.normal(0, 1e-6),
                      .volts_per_count = random.normal(0, 1e-3),
                      .offset_v = random.normal(0, 1),
                      .lowest_count = random.uniform(-100, 0),
                      .highest_count = random.uniform(1, 100)});
    sizes.push_back(static_cast<std::size_t>(random.uniform(1, 300)));
  }
  RecordBlock block;
  for (std::size_t r = 0; r < records; ++r) {
    Record& record = block.records.emplace_back();
    record.index = r;
    for (std::size_t i = 0; i < types.size(); ++i) {
      record.traces.push_back(test::random_trace(random, types[i], sizes[i], scales[i], block));
      if (i % 2 == 0) record.traces.back().first_sample_s += random.normal(0, 1e-10);
    }
    if (random.uniform(0, 1) < 0.9) {
      const auto scale = static_cast<TimeScale>(r % 3);
      const double most = scale == TimeScale::utc ? 2e15 : 1e15;
      record.trigger = Instant{scale, static_cast<std::int64_t>(random.uniform(-1e9, 4e9)),
                               static_cast<std::int64_t>(random.uniform(0, most))};
    }
  }
  return block;
}

const std::vector<std::string> seven{"i8", "i16", "i32", "u8", "u16", "f32", "f64"};

void write_run(const std::filesystem::path& file, const RecordBlock& block,
               RecordWriterOptions options = {}) {
  if (options.channels.empty()) options.channels = seven;
  RecordWriter writer(file, options);
  writer.write(block);
  writer.finish();
}

TEST(hdf5_own_layout, our_own_layout_reads_back_bit_for_bit_by_any_block_size) {
  for (std::uint64_t seed = 1; seed <= 6; ++seed) {
    const TemporaryFolder folder;
    const RecordBlock written = random_run(seed, 200 * seed);
    RecordWriterOptions options{.deflate_level = static_cast<int>(seed % 3)};
    if (seed % 2 == 0) options.contiguous_records = written.records.size();
    write_run(folder / "run.h5", written, options);
    for (const std::size_t size : {1U, 7U, 256U, 100'000U}) {
      const WholeRun read = read_run({folder / "run.h5"}, {}, size);
      EXPECT_EQ(read.description.channels, seven);
      EXPECT_EQ(read.description.record_count, written.records.size());
      ASSERT_EQ(read.records.size(), written.records.size());
      for (std::size_t i = 0; i < read.records.size(); ++i)
        ASSERT_TRUE(test::same_bits(read.records[i], written.records[i])) << seed << " " << i;
      EXPECT_EQ(read.account.records_good, written.records.size());
      EXPECT_EQ(read.account.records_bad + read.account.traces_missing, 0U);
      EXPECT_TRUE(read.account.problems.empty());
      EXPECT_TRUE(read.description.guesses.empty());
    }
  }
}

TEST(hdf5_own_layout, a_trigger_keeps_each_femtosecond_over_fifty_years_of_dates) {
  const TemporaryFolder folder;
  RecordBlock block = random_run(3, 600);
  Random random(4);
  for (std::size_t i = 0; i < block.records.size(); ++i) {
    // From 2000-01-01 in steps of a month, at any femtosecond, and in a leap second now and then.
    const double most = i % 5 == 0 ? 2e15 : 1e15;
    block.records[i].trigger = Instant{TimeScale::utc, 946'684'800 + static_cast<std::int64_t>(i) * 2'629'746,
                                       static_cast<std::int64_t>(random.uniform(0, most))};
  }
  write_run(folder / "run.h5", block);
  const WholeRun read = read_run({folder / "run.h5"});
  ASSERT_EQ(read.records.size(), block.records.size());
  for (std::size_t i = 0; i < read.records.size(); ++i)
    EXPECT_EQ(read.records[i].trigger, block.records[i].trigger);
}

TEST(hdf5_own_layout, several_files_are_one_run_in_their_order_and_lacking_channels_are_counted) {
  const TemporaryFolder folder;
  RecordBlock all = random_run(1, 30);
  RecordBlock some = random_run(2, 20);
  for (Record& record : some.records) record.traces = {record.traces[5], record.traces[0]};
  write_run(folder / "a.h5", all);
  write_run(folder / "b.h5", some, {.channels = {"f32", "extra"}});
  const WholeRun read = read_run({folder / "b.h5", folder / "a.h5"});
  EXPECT_THAT(read.description.channels, ElementsAre("f32", "extra", "i8", "i16", "i32", "u8", "u16", "f64"));
  ASSERT_EQ(read.records.size(), 50U);
  EXPECT_EQ(read.records[19].file, 0U);
  EXPECT_EQ(read.records[20].file, 1U);
  EXPECT_EQ(read.records[20].index, 20U);
  EXPECT_TRUE(test::same_bits(read.records[3].traces[1], some.records[3].traces[1]));
  EXPECT_TRUE(read.records[3].traces[2].empty());
  EXPECT_TRUE(test::same_bits(read.records[25].traces[0], all.records[5].traces[5]));
  EXPECT_TRUE(read.records[25].traces[1].empty());
  EXPECT_EQ(read.account.traces_missing, 20U * 6 + 30U * 1);
  EXPECT_EQ(read.account.records_good, 50U);
}

TEST(hdf5_own_layout, channels_of_our_layout_can_be_chosen_and_their_scale_overridden) {
  const TemporaryFolder folder;
  const RecordBlock block = random_run(1, 5);
  write_run(folder / "run.h5", block);
  const WholeRun read = read_run({folder / "run.h5"},
                                 settings({{"channels", list({"f64", "i8"})}, {"interval", text("2 ns")}}));
  EXPECT_THAT(read.description.channels, ElementsAre("f64", "i8"));
  EXPECT_EQ(read.records[0].traces[0].interval_s, 2e-9);
  EXPECT_EQ(read.records[0].traces[1].volts_per_count, block.records[0].traces[0].volts_per_count);
  EXPECT_THAT(sentence_of([&] {
                read_run({folder / "run.h5"}, settings({{"channels", list({"x"})}}));
              }),
              HasSubstr("has no channel 'x'; choose among i8, i16, i32, u8, u16, f32, f64"));
}

TEST(hdf5_own_layout, the_registry_knows_the_format_by_its_content) {
  const TemporaryFolder folder;
  write_run(folder / "run.dat", random_run(1, 3));
  const auto reader = open_records({folder / "run.dat"}, {});
  EXPECT_EQ(reader->description().format, "hdf5");
  EXPECT_EQ(reader->next_block(10).records.size(), 3U);
}

}  // namespace
}  // namespace firstedge
