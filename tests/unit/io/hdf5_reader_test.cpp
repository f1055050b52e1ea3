// Claims of the HDF5 reader on files of other layouts: by mapping, or by a guess that is told.
#include "firstedge/io/hdf5_reader.hpp"

#include "support/hdf5_maker.hpp"
#include "support/input_settings.hpp"
#include "support/python.hpp"
#include "support/random_records.hpp"
#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <cstdint>
#include <fstream>
#include <numeric>

#include <H5Cpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::groups;
using test::list;
using test::Maker;
using test::read_run;
using test::sentence_of;
using test::settings;
using test::TemporaryFolder;
using test::text;
using test::WholeRun;
using testing::ElementsAre;
using testing::HasSubstr;
using Group = Settings::Group;
using Value = Settings::Value;

H5::DSetCreatPropList chunked(std::vector<hsize_t> chunk, bool packed = true) {
  H5::DSetCreatPropList properties;
  properties.setChunk(static_cast<int>(chunk.size()), chunk.data());
  if (packed) {
    properties.setShuffle();
    properties.setDeflate(1);
    properties.setFletcher32();
  }
  return properties;
}

std::vector<double> as_numbers(const Trace& trace) {
  return std::visit([](const auto& samples) { return std::vector<double>(samples.begin(), samples.end()); },
                    trace.counts);
}

// 60 records x 3 channels x 50 samples; the count says where it stands.
constexpr std::size_t records_made = 60, channels_made = 3, samples_made = 50;
std::int32_t count_at(std::size_t record, std::size_t channel, std::size_t sample) {
  return static_cast<std::int32_t>(record * 10'000 + channel * 1'000 + sample);
}

struct AxesCase {
  std::vector<std::string> axes;
  std::vector<hsize_t> chunk;  // empty: contiguous
};

TEST(hdf5_reader, every_order_of_axes_and_every_chunking_gives_the_same_records) {
  const std::vector<std::vector<std::string>> orders{
      {"record", "channel", "sample"}, {"record", "sample", "channel"}, {"channel", "record", "sample"},
      {"channel", "sample", "record"}, {"sample", "record", "channel"}, {"sample", "channel", "record"}};
  const std::vector<std::vector<hsize_t>> chunks{{}, {7, 2, 11}, {60, 60, 60}, {1, 1, 1}};
  const TemporaryFolder folder;
  for (const auto& axes : orders) {
    std::vector<hsize_t> shape;
    for (const std::string& axis : axes)
      shape.push_back(axis == "record" ? records_made : axis == "channel" ? channels_made : samples_made);
    std::vector<std::int32_t> counts;
    for (std::size_t a = 0; a < shape[0]; ++a) {
      for (std::size_t b = 0; b < shape[1]; ++b) {
        for (std::size_t c = 0; c < shape[2]; ++c) {
          const std::array<std::size_t, 3> at{a, b, c};
          const auto along = [&](const char* axis) {
            return at[static_cast<std::size_t>(std::find(axes.begin(), axes.end(), axis) - axes.begin())];
          };
          counts.push_back(count_at(along("record"), along("channel"), along("sample")));
        }
      }
    }
    for (const auto& chunk : chunks) {
      {
        std::vector<hsize_t> fitting = chunk;
        for (std::size_t i = 0; i < chunk.size(); ++i) fitting[i] = std::min(chunk[i], shape[i]);
        Maker maker(folder / "run.h5");
        maker.dataset("waves", H5::PredType::STD_I32BE, shape, counts.data(), H5::PredType::NATIVE_INT32,
                      chunk.empty() ? H5::DSetCreatPropList::DEFAULT : chunked(fitting));
      }
      Settings::List names;
      for (const std::string& axis : axes) names.push_back({axis});
      const WholeRun read = read_run(
          {folder / "run.h5"},
          settings({{"dataset", text("/waves")}, {"axes", {names}}, {"interval", text("1 ns")}}), 17);
      EXPECT_THAT(read.description.channels, ElementsAre("channel_1", "channel_2", "channel_3"));
      ASSERT_EQ(read.records.size(), records_made);
      for (std::size_t r = 0; r < records_made; ++r) {
        for (std::size_t c = 0; c < channels_made; ++c) {
          const auto samples = std::get<std::span<const std::int32_t>>(read.records[r].traces[c].counts);
          ASSERT_EQ(samples.size(), samples_made);
          for (std::size_t s = 0; s < samples_made; ++s) ASSERT_EQ(samples[s], count_at(r, c, s));
        }
      }
    }
  }
}

TEST(hdf5_reader, a_mapping_finds_each_channel_its_scale_and_its_trigger_times) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    std::vector<std::uint16_t> counts(4 * 5);
    std::iota(counts.begin(), counts.end(), std::uint16_t{65500});
    H5::Group group = maker.file().createGroup("raw");
    H5::DataSet south =
        maker.dataset("raw/a", H5::PredType::STD_U16BE, {4, 5}, counts.data(), H5::PredType::NATIVE_UINT16);
    maker.number(south, "gain", 0.25);
    maker.dataset("raw/b", H5::PredType::STD_U16LE, {5, 3}, counts.data(), H5::PredType::NATIVE_UINT16);
    maker.number(group, "rate", 5e9);
    const std::array<float, 4> dt_ns{0.5F, 1, 2, 4};
    maker.dataset("dt", H5::PredType::IEEE_F32BE, {4}, dt_ns.data(), H5::PredType::NATIVE_FLOAT);
    const std::array<std::int64_t, 4> seconds{10, -1, 20, 30};
    maker.dataset("seconds", H5::PredType::STD_I64BE, {4}, seconds.data(), H5::PredType::NATIVE_INT64);
    const std::array<std::uint32_t, 4> ticks{0, 1, 124'999'999, 4'000'000'000};
    maker.dataset("ticks", H5::PredType::STD_U32LE, {4}, ticks.data(), H5::PredType::NATIVE_UINT32);
    const std::array<double, 4> shift{0, 1e-12, -1e-12, 3e-12};
    maker.dataset("shift", H5::PredType::IEEE_F64LE, {4}, shift.data(), H5::PredType::NATIVE_DOUBLE);
    const std::array<std::int16_t, 4> valid{5, 3, 0, 5};
    maker.dataset("valid", H5::PredType::STD_I16LE, {4}, valid.data(), H5::PredType::NATIVE_INT16);
  }
  const Group from_dt{{"at", text("/dt")}, {"times", {1e-9}}};
  const Settings input = settings({{"channels", groups({{{"name", text("south")},
                                                         {"dataset", text("/raw/a")},
                                                         {"interval", {from_dt}},
                                                         {"volts_per_count", text("@gain")},
                                                         {"offset", text("-2 mV")},
                                                         {"valid_samples", text("/valid")}},
                                                        {{"name", text("north")},
                                                         {"dataset", text("/raw/b")},
                                                         {"axes", list({"sample", "record"})},
                                                         {"horizontal_offset", text("/shift")},
                                                         {"lowest_count", {1.0}}}})},
                                   {"sample_rate", text("/raw@rate")},
                                   {"first_sample", text("-10 ns")},
                                   {"trigger",
                                    {Group{{"coarse", text("/seconds")},
                                           {"fine", text("/ticks")},
                                           {"fine_unit", text("8 ns")},
                                           {"scale", text("TAI")},
                                           {"origin", text("2026-01-01T00:00:00.5")}}}}});
  const WholeRun read = read_run({folder / "run.h5"}, input);
  EXPECT_THAT(read.description.channels, ElementsAre("south", "north"));
  EXPECT_TRUE(read.description.guesses.empty() ||
              read.description.guesses.front().find("limits") != std::string::npos);
  ASSERT_EQ(read.records.size(), 4U);
  const Trace& south = read.records[1].traces[0];
  EXPECT_THAT(as_numbers(south), ElementsAre(65505, 65506, 65507));
  EXPECT_EQ(south.interval_s, 1 * 1e-9);
  EXPECT_EQ(read.records[3].traces[0].interval_s, 4 * 1e-9);
  EXPECT_EQ(south.volts_per_count, 0.25);
  EXPECT_EQ(south.offset_v, -2e-3);
  EXPECT_EQ(south.first_sample_s, -1e-8);
  EXPECT_EQ(south.highest_count, 65535);
  const Trace& north = read.records[1].traces[1];
  EXPECT_THAT(as_numbers(north), ElementsAre(65501, 65504, 65507, 65510, 65513));
  EXPECT_EQ(north.interval_s, 1 / 5e9);
  EXPECT_EQ(north.first_sample_s, -1e-8 + 1e-12);
  EXPECT_EQ(north.lowest_count, 1);
  EXPECT_TRUE(read.records[2].traces[0].empty());  // no valid samples
  EXPECT_TRUE(read.records[3].traces[1].empty());  // one record fewer
  EXPECT_EQ(read.account.traces_missing, 2U);
  // 2026-01-01T00:00:00 is second 1767225600 of the calendar (20454 days of 86400 s, derived).
  EXPECT_EQ(read.records[0].trigger, (Instant{TimeScale::tai, 1'767'225'610, 500'000'000'000'000}));
  EXPECT_EQ(read.records[1].trigger, (Instant{TimeScale::tai, 1'767'225'599, 500'000'008'000'000}));
  EXPECT_EQ(read.records[2].trigger, (Instant{TimeScale::tai, 1'767'225'621, 499'999'992'000'000}));
  EXPECT_EQ(read.records[3].trigger, (Instant{TimeScale::tai, 1'767'225'662, 500'000'000'000'000}));
}

TEST(hdf5_reader, one_dimension_is_one_record_or_is_cut_into_many) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    std::vector<std::int8_t> counts(100);
    std::iota(counts.begin(), counts.end(), std::int8_t{0});
    maker.dataset("wave", H5::PredType::STD_I8LE, {100}, counts.data(), H5::PredType::NATIVE_INT8,
                  chunked({16}));
  }
  const auto with = [&](std::vector<std::pair<std::string, Value>> more) {
    more.insert(more.end(), {{"dataset", text("/wave")}, {"interval", text("1 ns")}});
    return read_run({folder / "run.h5"}, settings(more), 3);
  };
  const WholeRun one = with({});
  ASSERT_EQ(one.records.size(), 1U);
  EXPECT_EQ(one.records[0].traces[0].size(), 100U);
  const WholeRun cut = with({{"samples_per_record", {30.0}}});
  ASSERT_EQ(cut.records.size(), 3U);
  EXPECT_EQ(as_numbers(cut.records[2].traces[0]).front(), 60);
  EXPECT_EQ(as_numbers(cut.records[2].traces[0]).size(), 30U);
  const WholeRun few = with({{"samples_per_record", {7.0}}, {"records", {2.0}}});
  EXPECT_EQ(few.records.size(), 2U);
  EXPECT_EQ(few.description.record_count, 2U);
}

TEST(hdf5_reader, large_integers_become_the_equal_double_or_are_left_out) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    const std::array<std::int64_t, 6> wide{-5, (1LL << 53) - 1, 7, 1LL << 53, -(1LL << 53) - 1, 3};
    maker.dataset("i64", H5::PredType::STD_I64BE, {3, 2}, wide.data(), H5::PredType::NATIVE_INT64);
    const std::array<std::uint32_t, 6> unsigned32{0, 4'294'967'295U, 1, 2, 3, 4};
    maker.dataset("u32", H5::PredType::STD_U32BE, {3, 2}, unsigned32.data(), H5::PredType::NATIVE_UINT32);
  }
  const WholeRun read = read_run({folder / "run.h5"}, settings({{"interval", text("1 ns")}}));
  EXPECT_THAT(read.description.channels, ElementsAre("i64", "u32"));
  ASSERT_EQ(read.records.size(), 3U);
  EXPECT_THAT(as_numbers(read.records[0].traces[0]), ElementsAre(-5, 9007199254740991.0));
  EXPECT_TRUE(read.records[1].traces[0].empty());
  EXPECT_TRUE(read.records[2].traces[0].empty());
  EXPECT_THAT(as_numbers(read.records[0].traces[1]), ElementsAre(0, 4294967295.0));
  ASSERT_EQ(read.account.problems.size(), 1U);
  EXPECT_THAT(read.account.problems[0].what(), HasSubstr("/i64, record 1: a count is beyond 2^53"));
}

TEST(hdf5_reader, what_is_clear_is_guessed_and_told) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    const std::vector<std::int16_t> counts(12, 3);
    H5::DataSet waves =
        maker.dataset("waves", H5::PredType::STD_I16LE, {4, 3}, counts.data(), H5::PredType::NATIVE_INT16);
    maker.number(waves, "dt", 2e-10);
    const std::vector<double> other(4, 0.0);
    maker.dataset("times", H5::PredType::IEEE_F64LE, {4}, other.data(), H5::PredType::NATIVE_DOUBLE);
    H5::Group root = maker.file().openGroup("/");
    maker.number(root, "volts_per_count", 0.5);
    maker.number(root, "temperature", 21.5);
    const H5::StrType fixed(H5::PredType::C_S1, 6);
    root.createAttribute("bench", fixed, H5::DataSpace(H5S_SCALAR)).write(fixed, "Skerry");
  }
  const WholeRun read = read_run({folder / "run.h5"});
  ASSERT_EQ(read.records.size(), 4U);
  EXPECT_EQ(read.records[0].traces[0].interval_s, 2e-10);
  EXPECT_EQ(read.records[0].traces[0].volts_per_count, 0.5);
  EXPECT_EQ(read.records[0].traces[0].highest_count, 32767);
  EXPECT_THAT(read.description.guesses,
              ElementsAre(HasSubstr("/waves (4 x 3) is taken as the records, by record, sample"),
                          HasSubstr("\"interval\" is taken from the attribute /waves@dt"),
                          HasSubstr("\"volts_per_count\" is taken from the attribute /@volts_per_count"),
                          HasSubstr("\"first_sample\" tells"), HasSubstr("limits are taken as the ends")));
  EXPECT_EQ(read.description.metadata.at("bench"), "Skerry");
  EXPECT_EQ(read.description.metadata.at("temperature"), "21.5");
}

TEST(hdf5_reader, what_is_not_clear_is_asked_with_the_datasets_found) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    const std::vector<std::int16_t> counts(12, 3);
    maker.dataset("one", H5::PredType::STD_I16LE, {4, 3}, counts.data(), H5::PredType::NATIVE_INT16);
    maker.dataset("other", H5::PredType::STD_I16LE, {3, 4}, counts.data(), H5::PredType::NATIVE_INT16);
  }
  EXPECT_THAT(sentence_of([&] { read_run({folder / "run.h5"}); }),
              HasSubstr("it is not clear which dataset holds the records; datasets of numbers: /one (4 x 3), "
                        "/other (3 x 4); name them"));
  EXPECT_THAT(sentence_of([&] {
                read_run({folder / "run.h5"}, settings({{"dataset", text("/one")}}));
              }),
              HasSubstr("/one: the time between samples is not known; say it in the input group"));
}

TEST(hdf5_reader, settings_that_do_not_fit_are_refused_at_their_place) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    const std::vector<std::int16_t> counts(12, 3);
    maker.dataset("waves", H5::PredType::STD_I16LE, {4, 3}, counts.data(), H5::PredType::NATIVE_INT16);
  }
  const auto with = [&](const std::vector<std::pair<std::string, Value>>& values) {
    return sentence_of([&] { read_run({folder / "run.h5"}, settings(values)); });
  };
  const Value waves = text("/waves");
  const Value ns = text("1 ns");
  EXPECT_THAT(with({{"datset", waves}}), HasSubstr("input/datset: is not a name known here"));
  EXPECT_THAT(with({{"dataset", text("waves")}}), HasSubstr("input/dataset: is 'waves'; write its path"));
  EXPECT_THAT(with({{"axes", list({"records", "sample"})}}), HasSubstr("input/axes: names 'records'"));
  EXPECT_THAT(with({{"axes", list({"record", "record"})}}), HasSubstr("input/axes: does not name each axis"));
  EXPECT_THAT(with({{"dataset", waves}, {"interval", ns}, {"axes", list({"sample"})}}),
              HasSubstr("/waves: has 2 dimensions (4 x 3); its axes should be sample"));
  EXPECT_THAT(with({{"interval", ns}, {"sample_rate", text("1 GHz")}}),
              HasSubstr("stands beside an interval"));
  EXPECT_THAT(with({{"dataset", waves}, {"interval", text("-1 ns")}}),
              HasSubstr("the interval is not above 0"));
  EXPECT_THAT(with({{"dataset", waves}, {"interval", text("/none")}}),
              HasSubstr("/none: is not in the file"));
  EXPECT_THAT(with({{"dataset", waves}, {"interval", text("@none")}}),
              HasSubstr("/waves: the attribute 'none' is missing"));
  EXPECT_THAT(with({{"dataset", waves}, {"interval", text("/waves")}}),
              HasSubstr("is integers of 16 bits in 16 in 2 dimensions, not a list of numbers"));
  EXPECT_THAT(with({{"interval", {Group{{"at", text("dt")}}}}}), HasSubstr("input/interval/at: is no place"));
  EXPECT_THAT(with({{"channels", groups({{{"name", text("a")}}})}}), HasSubstr("gives 'a' no dataset"));
  EXPECT_THAT(with({{"channels", groups({{{"dataset", waves}}})}}),
              HasSubstr("input/channels/0/name: is missing"));
  EXPECT_THAT(with({{"dataset", waves}, {"channels", list({"a", "b"})}, {"interval", ns}}),
              HasSubstr("has 1 channels and 2 names"));
  EXPECT_THAT(with({{"samples_per_record", {2.5}}}), HasSubstr("is no whole number"));
  EXPECT_THAT(with({{"dataset", waves}, {"interval", ns}, {"samples_per_record", {2.0}}}),
              HasSubstr("has 2 dimensions and samples_per_record"));
  EXPECT_THAT(with({{"trigger", {Group{{"coarse", {1.0}}}}}}),
              HasSubstr("input/trigger/coarse: is no place"));
  EXPECT_THAT(with({{"trigger", {Group{{"coarse", waves}, {"fine", waves}}}}}),
              HasSubstr("input/trigger/fine_unit: is missing"));
  EXPECT_THAT(with({{"trigger", {Group{{"coarse", waves}, {"coarse_unit", {1e-16}}}}}}),
              HasSubstr("is no whole number of femtoseconds"));
  EXPECT_THAT(with({{"trigger", {Group{{"coarse", waves}, {"scale", text("EST")}}}}}),
              HasSubstr("input/trigger/scale: is 'EST'"));
}

TEST(hdf5_reader, numbers_that_come_one_a_channel_go_to_their_channel) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    const std::vector<std::int16_t> counts(2 * 3 * 4, 3);
    maker.dataset("waves", H5::PredType::STD_I16LE, {2, 3, 4}, counts.data(), H5::PredType::NATIVE_INT16);
    const std::array<double, 3> gains{1, 2, 3};
    maker.dataset("gains", H5::PredType::IEEE_F64LE, {3}, gains.data(), H5::PredType::NATIVE_DOUBLE);
  }
  const Value by_channel{Group{{"at", text("/gains")}, {"by", text("channel")}}};
  const Value offsets{Settings::List{text("1 mV"), text("2 mV"), text("3 mV")}};
  const WholeRun whole = read_run({folder / "run.h5"}, settings({{"dataset", text("/waves")},
                                                                 {"interval", text("1 ns")},
                                                                 {"volts_per_count", by_channel},
                                                                 {"offset", offsets}}));
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_EQ(whole.records[1].traces[i].volts_per_count, static_cast<double>(i + 1));
    EXPECT_DOUBLE_EQ(whole.records[1].traces[i].offset_v, 1e-3 * static_cast<double>(i + 1));
  }
  const auto channel = [](const char* name, double position) {
    return Group{{"name", text(name)}, {"dataset", text("/waves")}, {"channel", {position}}};
  };
  const WholeRun some =
      read_run({folder / "run.h5"}, settings({{"channels", groups({channel("late", 2), channel("early", 0)})},
                                              {"interval", text("1 ns")},
                                              {"volts_per_count", by_channel},
                                              {"offset", {Settings::List{text("1 mV"), text("2 mV")}}}}));
  EXPECT_EQ(some.records[0].traces[0].volts_per_count, 3);
  EXPECT_EQ(some.records[0].traces[1].volts_per_count, 1);
  EXPECT_DOUBLE_EQ(some.records[0].traces[0].offset_v, 1e-3);
  EXPECT_DOUBLE_EQ(some.records[0].traces[1].offset_v, 2e-3);
  EXPECT_THAT(sentence_of([&] {
                read_run({folder / "run.h5"},
                         settings({{"channels", groups({{{"name", text("a")}, {"dataset", text("/waves")}}})},
                                   {"interval", text("1 ns")}}));
              }),
              HasSubstr("/waves: has 3 channels in each record; say with \"channel\" which one is meant"));
}

TEST(hdf5_reader, floating_point_trigger_times_lose_nothing_but_what_they_never_had) {
  const TemporaryFolder folder;
  {
    Maker maker(folder / "run.h5");
    const std::vector<std::int16_t> counts(8, 3);
    maker.dataset("waves", H5::PredType::STD_I16LE, {4, 2}, counts.data(), H5::PredType::NATIVE_INT16);
    const std::array<double, 4> seconds{1'764'052'620.25, -0.25, std::nan(""), 1e30};
    maker.dataset("time", H5::PredType::IEEE_F64LE, {4}, seconds.data(), H5::PredType::NATIVE_DOUBLE);
  }
  const WholeRun read =
      read_run({folder / "run.h5"},
               settings({{"interval", text("1 ns")},
                         {"dataset", text("/waves")},
                         {"trigger", {Group{{"coarse", text("/time")}, {"scale", text("GPS")}}}}}));
  ASSERT_EQ(read.records.size(), 4U);
  EXPECT_EQ(read.records[0].trigger, (Instant{TimeScale::gps, 1'764'052'620, 250'000'000'000'000}));
  EXPECT_EQ(read.records[1].trigger, (Instant{TimeScale::gps, -1, 750'000'000'000'000}));
  EXPECT_FALSE(read.records[2].trigger.has_value());
  EXPECT_FALSE(read.records[3].trigger.has_value());
  ASSERT_EQ(read.account.problems.size(), 1U);
  EXPECT_THAT(read.account.problems[0].what(), HasSubstr("/time, record 2: the trigger time is missing"));
}

TEST(hdf5_reader, a_pattern_joins_one_file_a_channel) {
  const TemporaryFolder folder;
  for (const char* name : {"south_1.h5", "north_1.h5", "south_2.h5", "north_2.h5"}) {
    Maker maker(folder / name);
    std::vector<std::int16_t> counts(4, static_cast<std::int16_t>(name[0] + name[6]));
    maker.dataset("waves", H5::PredType::STD_I16LE, {2, 2}, counts.data(), H5::PredType::NATIVE_INT16);
  }
  const WholeRun read =
      read_run({folder / "south_1.h5", folder / "north_1.h5", folder / "south_2.h5", folder / "north_2.h5"},
               settings({{"pattern", text("{channel}_{record}.h5")},
                         {"channels", list({"south", "north"})},
                         {"dataset", text("/waves")},
                         {"interval", text("1 ns")}}));
  EXPECT_THAT(read.description.channels, ElementsAre("south", "north"));
  ASSERT_EQ(read.records.size(), 4U);
  EXPECT_THAT(as_numbers(read.records[2].traces[1]), ElementsAre('n' + '2', 'n' + '2'));
}

TEST(hdf5_reader, the_python_of_the_documents_makes_a_file_that_we_read) {
  const TemporaryFolder folder;
  std::ifstream document(FIRSTEDGE_SOURCE_DIR "/docs/file-layouts.md");
  const std::string text((std::istreambuf_iterator<char>(document)), std::istreambuf_iterator<char>());
  const std::string opening = "```python\n";
  const std::size_t start = text.find(opening) + opening.size();
  const std::string program = text.substr(start, text.find("```", start) - start);
  ASSERT_EQ(test::python(program, folder.path()), "exit 0");
  const WholeRun whole = read_run({folder / "run.h5"});
  EXPECT_THAT(whole.description.channels, ElementsAre("south"));
  EXPECT_TRUE(whole.description.guesses.empty());
  ASSERT_EQ(whole.records.size(), 1000U);
  EXPECT_EQ(whole.records[999].traces[0].size(), 500U);
  EXPECT_EQ(whole.records[999].traces[0].interval_s, 0.2e-9);
}

TEST(hdf5_reader, the_signature_is_found_behind_a_user_block) {
  const TemporaryFolder folder;
  {
    H5::FileCreatPropList creation;
    creation.setUserblock(1024);
    const H5::H5File file((folder / "run.h5").string(), H5F_ACC_TRUNC, creation);
  }
  std::ifstream stream(folder / "run.h5", std::ios::binary);
  std::vector<char> head(4096);
  stream.read(head.data(), 4096);
  const auto bytes = std::as_bytes(std::span(head));
  EXPECT_TRUE(starts_as_hdf5(bytes));
  EXPECT_FALSE(starts_as_hdf5(bytes.first(1026)));
  EXPECT_FALSE(starts_as_hdf5({}));
}

}  // namespace
}  // namespace firstedge
