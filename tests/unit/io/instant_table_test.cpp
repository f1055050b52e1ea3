// Claims of the lists of instants: what a CSV file and a stamp table give, and what is refused.
#include "firstedge/io/instant_table.hpp"

#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using testing::HasSubstr;

TEST(instant_csv, columns_are_read_by_their_names) {
  const test::TemporaryFolder folder;
  const auto file = folder.write("north.csv",
                                 "# arrivals\r\nheight_v,instant,uncertainty_s,method,temperature_c,bunch\r\n"
                                 "0.3,2026-11-03T10:00:00.123456789012345Z,3.5e-11,template,21.5,7\r\n"
                                 ",2026-11-03T10:00:01Z,,\"fraction, 0.3\",,\n");
  EXPECT_TRUE(is_instant_csv(file));
  const InstantList list = read_instant_csv(file, TimeScale::tai);
  EXPECT_EQ(list.name, "north");
  ASSERT_EQ(list.instants.size(), 2U);
  EXPECT_EQ(to_text(list.instants[0]), "2026-11-03T10:00:00.123456789012345Z");
  EXPECT_EQ(list.uncertainty_s[0], 3.5e-11);
  EXPECT_TRUE(std::isnan(list.uncertainty_s[1]));
  EXPECT_THAT(list.methods, testing::ElementsAre("template", "fraction, 0.3"));
  ASSERT_EQ(list.columns.size(), 3U);
  EXPECT_EQ(list.columns[0].name + " " + list.columns[0].unit, "height V");
  EXPECT_EQ(list.columns[1].unit, "°C");
  EXPECT_EQ(list.columns[2].name, "bunch");
  EXPECT_EQ(list.columns[2].values[0], 7);
  EXPECT_TRUE(std::isnan(list.columns[0].values[1]));
}

TEST(instant_csv, what_is_wrong_is_told_with_its_line) {
  const test::TemporaryFolder folder;
  const std::vector<std::pair<std::string, std::string>> bad{
      {"", "no line of names"},
      {"# only\n", "no line of names"},
      {"time,uncertainty_s\n1,2\n", "line 1: the row of names has no column 'instant'"},
      {"instant,instant\n", "twice"},
      {"instant,\n", "without need or twice"},
      {"instant\n", "has no rows"},
      {"instant\nyesterday\n", "line 2: 'yesterday'"},
      {"instant\n2026-02-30T00:00:00Z\n", "not a day"},
      {"instant\n2026-02-03T00:00:00Z,1\n", "too many fields"},
      {"instant,uncertainty_s\n2026-02-03T00:00:00Z\n", "too few fields"},
      {"instant,uncertainty_s\n2026-02-03T00:00:00Z,-1\n", "uncertainty_s -1"},
      {"instant,uncertainty_s\n2026-02-03T00:00:00Z,inf\n", "uncertainty_s inf"},
      {"instant,height_v\n2026-02-03T00:00:00Z,1 V\n", "height_v '1 V'"},
      {"instant\n2026-02-03T00:00:00Z\n2026-02-03T00:00:00 TAI\n",
       "line 3: the row has an instant on another"},
      {"instant\n\"2026-02-03T00:00:00Z\n", "quote"},
      {"instant\n" + std::string(70000, '1') + "\n", "too long"},
      {std::string("instant\n\0\xff\n", 11), "line 2"},
  };
  for (const auto& [text, words] : bad) {
    const auto file = folder.write("bad.csv", text);
    EXPECT_THAT(sentence_of([&] { read_instant_csv(file, TimeScale::utc); }),
                testing::AllOf(HasSubstr("bad.csv"), HasSubstr(words)))
        << text.substr(0, 100);
  }
  EXPECT_THAT(sentence_of([&] { read_instant_csv(folder.path(), TimeScale::utc); }),
              HasSubstr(folder.path().string()));
}

std::filesystem::path small_table(const test::TemporaryFolder& folder, bool with_triggers) {
  StampTableHead head;
  head.channels = {{.name = "plate", .sensor = ""}, {.name = "diamond", .sensor = ""}};
  head.methods = {{.name = "template_fit", .settings = ""},
                  {.name = "constant_fraction", .settings = "fraction=0.3"}};
  head.applied_delays = {
      {.channel = "diamond", .first_record = 0, .last_record = 4, .terms = {{.name = "early"}}},
      {.channel = "diamond", .first_record = 5, .terms = {{.name = "late"}}}};
  std::vector<Stamp> stamps;
  for (std::uint64_t record = 0; record < 4; ++record) {
    for (std::uint16_t method = 0; method < 2; ++method)
      stamps.push_back({.record = record,
                        .channel = 1,
                        .method = method,
                        .time_s = 1e-9,
                        .uncertainty_s = 1e-11,
                        .height_v = 0.2});
  }
  stamps[2].flags = Flag::clipped;  // record 1
  stamps[4].time_s = not_known;     // record 2
  std::vector<TriggerRow> triggers;
  for (std::uint64_t record = 0; record < 4 && with_triggers; ++record)
    triggers.push_back(
        {record, {TimeScale::utc, 1'700'000'000 + static_cast<std::int64_t>(record), 999'999'999'999'999}});
  const auto file = folder / "table.csv";
  StampTableWriter writer(file, head);
  writer.write(stamps, triggers);
  writer.finish();
  return file;
}

TEST(instants_of_stamps, a_trigger_and_a_time_make_an_instant_and_what_is_left_out_is_told) {
  const test::TemporaryFolder folder;
  const auto file = small_table(folder, true);
  EXPECT_FALSE(is_instant_csv(file));
  StampTableReader table(file);
  const InstantList list = instants_of(table, "north", {.channel = "diamond"});
  EXPECT_EQ(list.name, "north diamond");
  ASSERT_EQ(list.instants.size(), 2U);
  EXPECT_EQ(list.instants[0].seconds, 1'700'000'001);
  EXPECT_EQ(list.instants[0].femtoseconds, 999'999) << "1 ns after the last femtosecond";
  EXPECT_EQ(list.columns.at(0).values.at(1), 0.2);
  ASSERT_EQ(list.chain.size(), 1U);
  EXPECT_EQ(list.chain[0].name, "early");
  ASSERT_EQ(list.notes.size(), 2U);
  EXPECT_THAT(list.notes[0], HasSubstr("change 1 times"));
  EXPECT_THAT(list.notes[1], HasSubstr("1 stamps are flagged and 1 have no time"));
  StampTableReader again(file);
  EXPECT_EQ(instants_of(again, "n", {.channel = "diamond", .allowed_flags = Flag::clipped}).instants.size(),
            3U);
  StampTableReader other(file);
  EXPECT_EQ(instants_of(other, "n", {.channel = "diamond", .method = "constant_fraction(fraction=0.3)"})
                .instants.size(),
            4U);
}

TEST(instants_of_stamps, what_the_table_has_not_is_told_with_what_it_has) {
  const test::TemporaryFolder folder;
  const auto file = small_table(folder, true);
  const auto refusal = [](const std::filesystem::path& from, const StampChoice& choice) {
    return sentence_of([&] {
      StampTableReader table(from);
      instants_of(table, "north", choice);
    });
  };
  EXPECT_THAT(refusal(file, {.channel = "x"}), HasSubstr("no channel 'x'; it has plate, diamond"));
  EXPECT_THAT(refusal(file, {.channel = "diamond", .method = "x"}),
              HasSubstr("it has template_fit, constant_fraction(fraction=0.3)"));
  EXPECT_THAT(refusal(file, {.channel = "plate"}), HasSubstr("no usable arrival"));
  EXPECT_THAT(refusal(small_table(folder, false), {.channel = "diamond"}), HasSubstr("no trigger instants"));
}

}  // namespace
}  // namespace firstedge
