// Claims of putting parts together: the bytes of the whole table; parts that do not make a run are refused.
#include "firstedge/io/stamp_table_merge.hpp"

#include "firstedge/core/error.hpp"

#include "support/program.hpp"
#include "support/sentence_of.hpp"
#include "support/simulated_stamps.hpp"
#include "support/temporary_folder.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using test::TemporaryFolder;
using testing::EndsWith;
using testing::HasSubstr;

constexpr std::uint64_t records = 9000;  // two stamps each: more than two chunks of rows

StampTableHead head_of(std::optional<StampTablePart> part) {
  return {.title = "Skerry test line",
          .channels = {{.name = "south", .noise_v = 1e-3}, {.name = "north", .noise_v = not_known}},
          .methods = {{.name = "leading_edge", .settings = "threshold=20 mV"}},
          .provenance = {.program = "firstedge-stamp", .version = "0.1.0", .inputs = {{"run.h5", 12, "ab"}}},
          .part = std::move(part)};
}

// The records [first, end) of one run.
std::filesystem::path table(const std::filesystem::path& file, std::uint64_t first, std::uint64_t end,
                            const StampTableHead& head) {
  StampTableWriter writer(file, head);
  const std::vector<Stamp> all = test::normal_stamps({1e-11, 2e-11}, records, 5);
  std::vector<TriggerRow> triggers;
  for (std::uint64_t record = first; record < end; record += 2)
    triggers.push_back({.record = record, .instant = {TimeScale::gps, static_cast<std::int64_t>(record), 1}});
  writer.write(std::span(all).subspan(2 * first, 2 * (end - first)), triggers);
  writer.finish();
  return file;
}

std::filesystem::path part(const TemporaryFolder& folder, std::uint64_t number, std::uint64_t of,
                           const std::string& ending = ".h5") {
  return table(folder / (std::to_string(number) + ending), records * (number - 1) / of / 2 * 2,
               number == of ? records : records * number / of / 2 * 2,
               head_of(StampTablePart{.number = number, .of = of, .learnt_sha256 = "cd"}));
}

TEST(stamp_table_merge, gives_the_bytes_of_the_whole_table_whatever_the_order) {
  for (const std::string ending : {".h5", ".csv"}) {
    const TemporaryFolder folder;
    const std::string whole = test::text_of(table(folder / ("whole" + ending), 0, records, head_of({})));
    const MergedTable merged = merge_stamp_tables(
        {part(folder, 3, 3, ending), part(folder, 1, 3, ending), part(folder, 2, 3, ending)},
        folder / ("merged" + ending));
    EXPECT_EQ(merged.stamps, 2 * records);
    EXPECT_TRUE(test::text_of(folder / ("merged" + ending)) == whole) << ending;
    merge_stamp_tables({part(folder, 1, 1, ending)}, folder / ("one" + ending));
    EXPECT_TRUE(test::text_of(folder / ("one" + ending)) == whole) << ending;
  }
}

TEST(stamp_table_merge, a_part_that_holds_no_record_is_a_part) {
  const TemporaryFolder folder;
  const std::string whole = test::text_of(table(folder / "whole.h5", 0, records, head_of({})));
  const auto empty = table(folder / "e.h5", 0, 0, head_of(StampTablePart{1, 2, "cd"}));
  const auto rest = table(folder / "r.h5", 0, records, head_of(StampTablePart{2, 2, "cd"}));
  merge_stamp_tables({empty, rest}, folder / "merged.h5");
  EXPECT_TRUE(test::text_of(folder / "merged.h5") == whole);
}

TEST(stamp_table_merge, parts_that_do_not_make_a_run_are_refused_in_a_sentence) {
  const TemporaryFolder folder;
  const auto whole = table(folder / "whole.h5", 0, records, head_of({}));
  const auto refusal = [&](const std::vector<std::filesystem::path>& parts) {
    const std::string sentence = sentence_of([&] { merge_stamp_tables(parts, folder / "out.h5"); });
    EXPECT_FALSE(std::filesystem::exists(folder / "out.h5"));
    return sentence;
  };
  const auto one = part(folder, 1, 3), two = part(folder, 2, 3), three = part(folder, 3, 3);
  EXPECT_EQ(refusal({one, three}), "part 2/3: is missing; give all 3 parts");
  EXPECT_EQ(refusal({three}), "part 1/3: is missing; give all 3 parts");
  EXPECT_THAT(refusal({one, two, three, two}), EndsWith("give each part once"));
  EXPECT_THAT(refusal({one, whole, three}), EndsWith("give tables made with --part"));
  const TemporaryFolder other;
  EXPECT_THAT(refusal({one, two, part(other, 3, 4)}), HasSubstr("is one of 4 parts, but"));
  EXPECT_EQ(refusal({}), "the parts: are missing; give the tables of all parts");
}

TEST(stamp_table_merge, parts_of_different_runs_are_refused_with_what_differs) {
  const TemporaryFolder folder;
  const auto one = part(folder, 1, 2);
  const auto differing = [&](const std::function<void(StampTableHead&)>& change) {
    StampTableHead head = head_of(StampTablePart{.number = 2, .of = 2, .learnt_sha256 = "cd"});
    change(head);
    const auto two = table(folder / "two.h5", records / 2, records, head);
    const std::string sentence = sentence_of([&] { merge_stamp_tables({one, two}, folder / "out.h5"); });
    const std::size_t from = sentence.find("made with ");
    return sentence.substr(from + 10, sentence.find(" than ") - from - 10);
  };
  EXPECT_EQ(differing([](auto& head) { head.provenance.inputs[0].sha256 = "ac"; }), "other inputs");
  EXPECT_EQ(differing([](auto& head) { head.provenance.version = "0.2.0"; }), "another version");
  EXPECT_EQ(differing([](auto& head) { head.provenance.setup = "{}"; }), "another Setup");
  EXPECT_EQ(differing([](auto& head) { head.provenance.command = "x"; }), "another command");
  EXPECT_EQ(differing([](auto& head) { head.provenance.options["a"] = "b"; }), "another provenance");
  EXPECT_EQ(differing([](auto& head) { head.title = "x"; }), "another title");
  EXPECT_EQ(differing([](auto& head) { head.channels[0].noise_v = 2; }), "other channels or noise");
  EXPECT_EQ(differing([](auto& head) { head.methods[0].settings = ""; }), "other methods");
  EXPECT_EQ(differing([](auto& head) { head.part->learnt_sha256 = "dc"; }),
            "other templates or walk corrections learnt");
}

TEST(stamp_table_merge, records_that_are_in_two_parts_are_refused) {
  const TemporaryFolder folder;
  const auto one = table(folder / "1.h5", 0, 101, head_of(StampTablePart{1, 2, "cd"}));
  const auto two = table(folder / "2.h5", 100, 200, head_of(StampTablePart{2, 2, "cd"}));
  EXPECT_THAT(sentence_of([&] {
                merge_stamp_tables({one, two}, folder / "out.h5");
              }),
              HasSubstr("holds record 100, which is not behind those of the part before"));
}

}  // namespace
}  // namespace firstedge
