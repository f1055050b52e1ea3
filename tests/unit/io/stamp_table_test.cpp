// Claims of the stamp table, HDF5 and CSV.
#include "firstedge/io/stamp_table.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"

#include "support/python.hpp"
#include "support/random.hpp"
#include "support/random_records.hpp"
#include "support/sentence_of.hpp"
#include "support/small_disk.hpp"
#include "support/temporary_folder.hpp"

#include <cstdio>
#include <fstream>
#include <limits>
#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::python;
using test::Random;
using test::sentence_of;
using test::TemporaryFolder;
using testing::HasSubstr;

StampTableHead some_head() {
  StampTableHead head;
  head.title = "Skerry test line, \"night\" run\n2";
  head.channels = {{.name = "south", .sensor = "thin scintillator", .interval_s = 2e-10, .noise_v = 1.3e-3},
                   {.name = "north, with amplifier", .sensor = "", .interval_s = 2e-10, .load_ohm = 1e6}};
  head.methods = {{.name = "constant_fraction", .settings = "fraction=0.3"},
                  {.name = "constant_fraction", .settings = "fraction=0.5"},
                  {.name = "template_fit", .settings = ""},
                  {.name = "template_fit", .settings = ""}};
  head.provenance = {.program = "firstedge-stamp",
                     .version = "0.1.0",
                     .command = "firstedge-stamp 'a b.h5'",
                     .inputs = {{"a b.h5", 123, "ab12"}, {"<b>.h5", 1ULL << 60U, ""}},
                     .setup = "{\"title\": \"\\u00b5\"}",
                     .options = {{"threads", "2"}}};
  return head;
}

// Any bits that a double may have, besides NaN with a message, in every field.
double any_double(Random& random) {
  switch (static_cast<int>(random.uniform(0, 8))) {
    case 0:
      return not_known;
    case 1:
      return -0.0;
    case 2:
      return std::numeric_limits<double>::infinity();
    case 3:
      return std::numeric_limits<double>::denorm_min() * std::floor(random.uniform(1, 1e6));
    default:
      return random.normal(0, 1) * std::pow(10, random.uniform(-300, 300));
  }
}

std::vector<Stamp> some_stamps(std::size_t count, std::uint64_t seed) {
  Random random(seed);
  const auto whole = [&](double most) { return std::floor(random.uniform(0, most)); };
  std::vector<Stamp> stamps(count);
  for (Stamp& stamp : stamps) {
    stamp.record = static_cast<std::uint64_t>(whole(1.8e19));
    stamp.channel = static_cast<std::uint16_t>(whole(2));
    stamp.method = static_cast<std::uint16_t>(whole(4));
    stamp.pulse = static_cast<std::uint16_t>(whole(65536));
    stamp.polarity = random.uniform(-1, 1) < 0 ? -1 : 1;
    for (double* value : {&stamp.time_s, &stamp.uncertainty_s, &stamp.bound_s, &stamp.height_v,
                          &stamp.charge_c, &stamp.slew_v_per_s, &stamp.noise_v, &stamp.transition_duration_s,
                          &stamp.baseline_v, &stamp.goodness}) {
      *value = any_double(random);
    }
    stamp.flags = FlagSet::from_bits(static_cast<std::uint32_t>(whole(4294967296.0)));
  }
  return stamps;
}

bool same(const Stamp& a, const Stamp& b) {
  return a.record == b.record && a.channel == b.channel && a.method == b.method && a.pulse == b.pulse &&
         a.polarity == b.polarity && test::same_bits(a.time_s, b.time_s) &&
         test::same_bits(a.uncertainty_s, b.uncertainty_s) && test::same_bits(a.bound_s, b.bound_s) &&
         test::same_bits(a.height_v, b.height_v) && test::same_bits(a.charge_c, b.charge_c) &&
         test::same_bits(a.slew_v_per_s, b.slew_v_per_s) && test::same_bits(a.noise_v, b.noise_v) &&
         test::same_bits(a.transition_duration_s, b.transition_duration_s) &&
         test::same_bits(a.baseline_v, b.baseline_v) && test::same_bits(a.goodness, b.goodness) &&
         a.flags == b.flags;
}

std::vector<TriggerRow> some_triggers(std::size_t count) {
  std::vector<TriggerRow> rows;
  for (std::size_t i = 0; i < count; ++i) {
    // The second one is inside a leap second, the third before 1970.
    rows.push_back(
        {i * 3,
         {static_cast<TimeScale>(i % 3), static_cast<std::int64_t>(1'764'052'620 - 2'000'000'000 * (i % 3)),
          static_cast<std::int64_t>(i == 1 ? 1'500'000'000'000'001 : 123'456'789'012'345 + i)}});
  }
  return rows;
}

void write_in_blocks(const std::filesystem::path& file, const std::vector<Stamp>& stamps,
                     const std::vector<TriggerRow>& triggers, std::size_t size) {
  StampTableWriter writer(file, some_head());
  std::span<const Stamp> stamps_left(stamps);
  std::span<const TriggerRow> triggers_left(triggers);
  while (!stamps_left.empty() || !triggers_left.empty()) {
    const auto some = stamps_left.first(std::min(size, stamps_left.size()));
    const auto few = triggers_left.first(std::min(size, triggers_left.size()));
    writer.write(some, few);
    stamps_left = stamps_left.subspan(some.size());
    triggers_left = triggers_left.subspan(few.size());
  }
  writer.finish();
}

class stamp_table : public testing::TestWithParam<const char*> {
 protected:
  std::filesystem::path file() const { return folder_ / (std::string("stamps") + GetParam()); }
  const TemporaryFolder folder_;
};
INSTANTIATE_TEST_SUITE_P(formats, stamp_table, testing::Values(".h5", ".csv"),
                         [](const auto& row) { return std::string(row.param).substr(1); });

TEST_P(stamp_table, every_field_of_every_stamp_reads_back_bit_for_bit) {
  const std::vector<Stamp> stamps = some_stamps(20'000, 11);
  write_in_blocks(file(), stamps, {}, 1000);
  StampTableReader reader(file());
  EXPECT_EQ(reader.size(), stamps.size());
  std::size_t next = 0;
  for (std::size_t size = 1;; size = size * 3 + 1) {
    const std::vector<Stamp> block = reader.next_block(size);
    if (block.empty()) break;
    ASSERT_LE(block.size(), size);
    for (const Stamp& stamp : block) ASSERT_TRUE(same(stamp, stamps.at(next++))) << next;
  }
  EXPECT_EQ(next, stamps.size());
  EXPECT_TRUE(reader.next_block(1).empty());
  EXPECT_TRUE(reader.triggers().empty());
}

TEST_P(stamp_table, in_memory_reads_as_in_its_file) {
  const std::vector<Stamp> stamps = some_stamps(100, 12);
  const StampTableHead head = some_head();
  const std::vector<TriggerRow> triggers = some_triggers(30);
  write_in_blocks(file(), stamps, triggers, 64);
  StampTableReader of_file(file()),
      of_memory(StampTableInMemory{.name = "stamps", .head = &head, .stamps = stamps, .triggers = triggers});
  EXPECT_EQ(of_memory.head().title, of_file.head().title);
  EXPECT_EQ(of_memory.size(), of_file.size());
  for (const std::size_t size : {0U, 1U, 64U, 65U, 1U}) {
    const std::vector<Stamp> block = of_memory.next_block(size), expected = of_file.next_block(size);
    ASSERT_EQ(block.size(), expected.size());
    for (std::size_t i = 0; i < block.size(); ++i) EXPECT_TRUE(same(block[i], expected[i]));
  }
  const std::vector<TriggerRow> rows = of_memory.triggers(), expected = of_file.triggers();
  ASSERT_EQ(rows.size(), expected.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    EXPECT_EQ(rows[i].record, expected[i].record);
    EXPECT_EQ(rows[i].instant, expected[i].instant);
  }
}

TEST_P(stamp_table, the_head_reads_back_as_it_was) {
  write_in_blocks(file(), {}, {}, 1);
  const StampTableReader reader(file());
  const StampTableHead head = some_head();
  const StampTableHead& read = reader.head();
  EXPECT_EQ(reader.size(), 0U);
  EXPECT_EQ(read.title, head.title);
  ASSERT_EQ(read.channels.size(), 2U);
  EXPECT_EQ(read.channels[0].name, "south");
  EXPECT_EQ(read.channels[0].sensor, "thin scintillator");
  EXPECT_EQ(read.channels[0].interval_s, 2e-10);
  EXPECT_EQ(read.channels[0].noise_v, 1.3e-3);
  EXPECT_EQ(read.channels[1].name, "north, with amplifier");
  EXPECT_EQ(read.channels[1].load_ohm, 1e6);
  ASSERT_EQ(read.methods.size(), 4U);
  EXPECT_EQ(read.methods[1].name, "constant_fraction");
  EXPECT_EQ(read.methods[1].settings, "fraction=0.5");
  EXPECT_EQ(read.provenance.command, head.provenance.command);
  ASSERT_EQ(read.provenance.inputs.size(), 2U);
  EXPECT_EQ(read.provenance.inputs[1].name, "<b>.h5");
  EXPECT_EQ(read.provenance.inputs[1].bytes, 1ULL << 60U);
  EXPECT_EQ(read.provenance.setup, head.provenance.setup);
  EXPECT_EQ(read.provenance.options, head.provenance.options);
}

TEST_P(stamp_table, triggers_keep_each_femtosecond_and_their_scale) {
  const std::vector<TriggerRow> triggers = some_triggers(20'000);
  write_in_blocks(file(), some_stamps(100, 1), triggers, 50);
  StampTableReader reader(file());
  EXPECT_EQ(reader.size(), 100U);
  const std::vector<TriggerRow> read = reader.triggers();
  ASSERT_EQ(read.size(), triggers.size());
  for (std::size_t i = 0; i < read.size(); ++i) {
    ASSERT_EQ(read[i].record, triggers[i].record);
    ASSERT_EQ(read[i].instant, triggers[i].instant);
  }
  EXPECT_EQ(reader.next_block(1000).size(), 100U);
}

TEST_P(stamp_table, the_same_stamps_give_the_same_bytes_however_they_are_cut) {
  const std::vector<Stamp> stamps = some_stamps(20'000, 5);
  const std::vector<TriggerRow> triggers = some_triggers(9'000);
  std::string first;
  for (const std::size_t size : {1U, 777U, 20'000U}) {
    write_in_blocks(file(), stamps, triggers, size);
    const std::string digest = sha256_of_file(file());
    if (first.empty()) first = digest;
    EXPECT_EQ(digest, first) << size;
  }
}

TEST_P(stamp_table, a_provenance_of_ten_thousand_files_is_kept) {
  StampTableHead head = some_head();
  head.provenance.inputs.assign(10'000, {std::string(200, 'x'), 1, std::string(64, 'a')});
  StampTableWriter(file(), head).finish();
  const StampTableReader reader(file());
  EXPECT_EQ(reader.head().provenance.inputs.size(), 10'000U);
}

TEST_P(stamp_table, digests_that_come_late_leave_the_same_file) {
  for (const std::size_t files : {1U, 10'000U}) {
    StampTableHead known = some_head(), pending = some_head();
    known.provenance.inputs.assign(files, {"a.h5", 1, std::string(64, 'a')});
    pending.provenance.inputs.assign(files, {"a.h5", 1, std::string(64, '0')});
    const auto written = [&](const StampTableHead& head) {
      StampTableWriter writer(file(), head);
      writer.write(some_stamps(10'000, 3), some_triggers(10));
      if (&head == &pending) writer.complete(known.provenance);
      writer.write(some_stamps(100, 4));
      writer.finish();
      return sha256_of_file(file());
    };
    const std::string first = written(known);
    EXPECT_EQ(written(pending), first);
    EXPECT_EQ(StampTableReader(file()).head().provenance.inputs.back().sha256, std::string(64, 'a'));
  }
}

TEST_P(stamp_table, the_file_has_its_name_only_when_it_is_whole) {
  {
    StampTableWriter writer(file(), some_head());
    writer.write(some_stamps(10'000, 3), some_triggers(10));
    EXPECT_FALSE(std::filesystem::exists(file()));
    EXPECT_TRUE(std::filesystem::exists(file().string() + ".part"));
  }
  EXPECT_TRUE(std::filesystem::is_empty(folder_.path()));
}

TEST_P(stamp_table, a_full_disk_gives_one_sentence_and_leaves_no_file) {
  for (const std::size_t kilobytes : {4U, 8U, 300U}) {
    const auto printed =
        test::printed_on_small_disk(folder_.path(), kilobytes << 10U, [&](const std::filesystem::path& disk) {
          const std::vector<Stamp> stamps = some_stamps(20'000, 3);
          std::puts(sentence_of([&] { write_in_blocks(file(), stamps, some_triggers(9), 100); }).c_str());
          std::puts(std::filesystem::is_empty(disk) ? "empty" : "not empty");
        });
    if (!printed) GTEST_SKIP() << "this machine does not let a test mount a small disk";
    EXPECT_THAT(*printed, testing::MatchesRegex(".*/stamps.*: cannot be written.*; check the.*\nempty\n"));
  }
}

TEST(stamp_table_names, another_ending_is_refused) {
  const TemporaryFolder folder;
  EXPECT_THAT(sentence_of([&] { StampTableWriter(folder / "stamps.txt", some_head()); }),
              HasSubstr("the ending '.txt' says nothing of the format"));
}

TEST(stamp_table_csv, reads_as_a_person_would_expect) {
  const TemporaryFolder folder;
  StampTableHead head = some_head();
  head.provenance = {};
  StampTableWriter writer(folder / "stamps.csv", head);
  Stamp stamp{.record = 7, .channel = 1, .method = 0, .pulse = 2, .polarity = -1};
  stamp.time_s = 1.25e-8;
  stamp.height_v = 0.1;
  stamp.flags = Flag::clipped | Flag::poor_fit;
  const TriggerRow trigger{7, {TimeScale::tai, 1'764'052'620, 5}};
  writer.write(std::span(&stamp, 1), std::span(&trigger, 1));
  writer.finish();
  std::stringstream text;
  text << std::ifstream(folder / "stamps.csv").rdbuf();
  EXPECT_EQ(text.str(),
            "# firstedge stamp table 1\n"
            "# title: \"Skerry test line, \\\"night\\\" run\\n2\"\n"
            "# channel: {\"name\":\"south\",\"sensor\":\"thin scintillator\",\"interval_s\":2e-10,"
            "\"load_ohm\":50.0,\"noise_v\":0.0013}\n"
            "# channel: {\"name\":\"north, with amplifier\",\"sensor\":\"\",\"interval_s\":2e-10,"
            "\"load_ohm\":1000000.0,\"noise_v\":0.0}\n"
            "# method: {\"name\":\"constant_fraction\",\"settings\":\"fraction=0.3\"}\n"
            "# method: {\"name\":\"constant_fraction\",\"settings\":\"fraction=0.5\"}\n"
            "# method: {\"name\":\"template_fit\",\"settings\":\"\"}\n"
            "# method: {\"name\":\"template_fit\",\"settings\":\"\"}\n"
            "# provenance: {\"program\":\"\",\"version\":\"\",\"command\":\"\",\"inputs\":[],\"setup\":\"\","
            "\"options\":{}}\n"
            "record,channel,method,pulse,polarity,time_s,uncertainty_s,bound_s,height_v,charge_c,"
            "slew_v_per_s,noise_v,transition_duration_s,baseline_v,goodness,flags\n"
            "7,\"north, with amplifier\",constant_fraction(fraction=0.3),2,-1,1.25e-08,,,0.1,,,,,,,"
            "clipped+poor_fit\n"
            "# trigger: 7,TAI,1764052620,5\n");
}

TEST(stamp_table_python, opens_in_one_line_with_h5py_and_with_pandas) {
  const TemporaryFolder folder;
  std::vector<Stamp> stamps = some_stamps(3, 4);
  stamps[2].time_s = 1.5e-9;
  stamps[2].record = 12;
  stamps[1].time_s = not_known;
  write_in_blocks(folder / "stamps.h5", stamps, some_triggers(2), 10);
  write_in_blocks(folder / "stamps.csv", stamps, some_triggers(2), 10);
  EXPECT_EQ(python(R"(
import sys, json, h5py, pandas
f = sys.argv[1] + "/stamps.h5"
table = pandas.DataFrame(h5py.File(f)["stamps"][:])
print(*table.columns)
print(len(table), table.time_s[2], table.record[2])
print(table.equals(pandas.read_hdf(f, "stamps")))
file = h5py.File(f)
print(file.attrs["layout"].decode(), json.loads(file.attrs["provenance"])["program"])
print(file["channels"]["name"][1].decode(), file["methods"]["settings"][0].decode())
print(file["triggers"]["seconds"][0], file["triggers"]["femtoseconds"][1])
csv = pandas.read_csv(sys.argv[1] + "/stamps.csv", comment="#")
print(len(csv), csv.time_s.dtype, csv.time_s[2], csv.time_s.isna()[1], csv.pulse.dtype)
)",
                   folder.path()),
            "record channel method pulse polarity time_s uncertainty_s bound_s height_v charge_c "
            "slew_v_per_s noise_v transition_duration_s baseline_v goodness flags\n"
            "3 1.5e-09 12\n"
            "True\n"
            "firstedge stamp table 1 firstedge-stamp\n"
            "north, with amplifier fraction=0.3\n"
            "1764052620 1500000000000001\n"
            "3 float64 1.5e-09 True int64\n"
            "exit 0");
}

}  // namespace
}  // namespace firstedge
