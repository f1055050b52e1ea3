// Claims of the stamp journal: what was appended comes back; torn, spoilt or foreign journals are believed
// as far as they can be and never further.
#include "firstedge/io/stamp_journal.hpp"

#include "firstedge/core/error.hpp"

#include "support/program.hpp"
#include "support/random.hpp"
#include "support/sentence_of.hpp"
#include "support/simulated_stamps.hpp"
#include "support/small_disk.hpp"
#include "support/temporary_folder.hpp"

#include <bit>
#include <cstdio>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using test::TemporaryFolder;

const JournalFacts facts{{"inputs", "run.h5 12"}, {"command", "firstedge-stamp run.h5"}};
constexpr JournalLimits limits{.channels = 2, .methods = 1};
constexpr std::uint64_t records_in_block = 5, records_apart = 7;  // two numbers lie between blocks

std::vector<JournalBlock> some_blocks(std::size_t count) {
  std::vector<JournalBlock> blocks;
  for (std::uint64_t b = 0; b < count; ++b) {
    JournalBlock block{.records = records_in_block, .next_record = b * records_apart + records_in_block};
    block.stamps = test::normal_stamps({1e-11, 2e-11}, records_in_block, b);
    for (Stamp& stamp : block.stamps) stamp.record += b * records_apart;
    block.stamps.front().flags = Flag::clipped;
    block.triggers = {{.record = b * records_apart, .instant = {TimeScale::tai, 1795588620, 17}}};
    blocks.push_back(block);
  }
  return blocks;
}

void append(StampJournal& journal, const JournalBlock& block) {
  journal.append(block.records, block.next_record, block.stamps, block.triggers);
}

std::filesystem::path journal_of(const TemporaryFolder& folder, const std::vector<JournalBlock>& blocks) {
  const auto file = folder / "stamps.h5.journal";
  StampJournal journal(file, facts, limits);
  for (const JournalBlock& block : blocks) append(journal, block);
  return file;
}

std::size_t equal_blocks(const StampJournal& journal, const std::vector<JournalBlock>& blocks) {
  std::size_t count = 0;
  journal.replay([&](const JournalBlock& block) {
    const JournalBlock& wanted = blocks.at(count++);
    EXPECT_EQ(block.records, wanted.records);
    EXPECT_EQ(block.next_record, wanted.next_record);
    ASSERT_EQ(block.stamps.size(), wanted.stamps.size());
    for (std::size_t i = 0; i < block.stamps.size(); ++i) {
      EXPECT_EQ(block.stamps[i].record, wanted.stamps[i].record);
      EXPECT_EQ(std::bit_cast<std::uint64_t>(block.stamps[i].time_s),
                std::bit_cast<std::uint64_t>(wanted.stamps[i].time_s));
      EXPECT_EQ(std::bit_cast<std::uint64_t>(block.stamps[i].charge_c),
                std::bit_cast<std::uint64_t>(wanted.stamps[i].charge_c));
      EXPECT_EQ(block.stamps[i].flags, wanted.stamps[i].flags);
    }
    ASSERT_EQ(block.triggers.size(), 1U);
    EXPECT_EQ(block.triggers[0].instant, wanted.triggers[0].instant);
  });
  EXPECT_EQ(journal.records(), count * records_in_block);
  return count;
}

TEST(stamp_journal, what_was_appended_comes_back_and_is_added_to) {
  const TemporaryFolder folder;
  const auto blocks = some_blocks(4);
  const auto file = journal_of(folder, {blocks.begin(), blocks.begin() + 2});
  {
    StampJournal journal(file, facts, limits);
    EXPECT_EQ(equal_blocks(journal, blocks), 2U);
    EXPECT_EQ(journal.next_record(), records_apart + records_in_block);
    append(journal, blocks[2]);
    append(journal, blocks[3]);
    journal.end({.records_good = 20, .records_bad = 1, .problems = {Error("run.h5", "is torn", "copy it")}});
  }
  StampJournal journal(file, facts, limits);
  EXPECT_EQ(equal_blocks(journal, blocks), 4U);
  ASSERT_TRUE(journal.account());
  EXPECT_EQ(journal.account()->records_good, 20U);
  EXPECT_STREQ(journal.account()->problems.at(0).what(), "run.h5: is torn; copy it");
  journal.remove();
  EXPECT_FALSE(std::filesystem::exists(file));
}

TEST(stamp_journal, notes_between_blocks_come_back_until_it_begins_anew) {
  const TemporaryFolder folder;
  const auto blocks = some_blocks(3);
  const auto file = journal_of(folder, {blocks.begin(), blocks.begin() + 1});
  {
    StampJournal journal(file, facts, limits);
    EXPECT_FALSE(journal.noted("inputs"));
    journal.note("inputs", "first");
    append(journal, blocks[1]);
    journal.note("inputs", "second\nline");
    journal.note("empty", "");
    append(journal, blocks[2]);
  }
  StampJournal journal(file, facts, limits);
  EXPECT_EQ(equal_blocks(journal, blocks), 3U);
  EXPECT_EQ(journal.noted("inputs"), "second\nline");
  EXPECT_EQ(journal.noted("empty"), "");
  journal.begin_anew();
  EXPECT_FALSE(journal.noted("inputs"));
}

TEST(stamp_journal, a_journal_torn_anywhere_keeps_the_whole_blocks_before) {
  const TemporaryFolder folder;
  const auto blocks = some_blocks(3);
  const auto file = journal_of(folder, blocks);
  const std::string whole = test::text_of(file);
  std::size_t most = 0;
  for (std::size_t size = 0; size < whole.size(); size += 13) {
    folder.write("torn", whole.substr(0, size));
    StampJournal journal(folder / "torn", facts, limits);
    const std::size_t kept = equal_blocks(journal, blocks);
    EXPECT_LT(kept, 3U);
    EXPECT_GE(kept, most);  // more bytes never keep fewer blocks
    most = std::max(most, kept);
    for (std::size_t b = kept; b < blocks.size(); ++b) append(journal, blocks[b]);
    EXPECT_EQ(test::text_of(folder / "torn"), whole);
  }
  EXPECT_EQ(most, 2U);
}

TEST(stamp_journal, a_spoilt_byte_costs_its_block_and_those_behind_but_no_wrong_stamp) {
  const TemporaryFolder folder;
  const auto blocks = some_blocks(3);
  const std::string whole = test::text_of(journal_of(folder, blocks));
  for (std::size_t at = 0; at < whole.size(); at += 7) {
    std::string spoilt = whole;
    spoilt[at] = static_cast<char>(spoilt[at] ^ 0x10);
    folder.write("spoilt", spoilt);
    const StampJournal journal(folder / "spoilt", facts, limits);
    EXPECT_LT(equal_blocks(journal, blocks), 3U) << at;
  }
}

TEST(stamp_journal, blocks_cannot_change_places) {
  const TemporaryFolder folder, other;
  auto blocks = some_blocks(2);
  const std::string first = test::text_of(journal_of(folder, {blocks[0]}));
  const std::string both = test::text_of(journal_of(other, blocks));
  std::filesystem::resize_file(folder / "stamps.h5.journal", 0);
  const std::string empty = first.substr(0, 2 * first.size() - both.size());  // blocks are of one size
  folder.write("moved", empty + both.substr(first.size()));
  EXPECT_EQ(StampJournal(folder / "moved", facts, limits).records(), 0U);
}

TEST(stamp_journal, a_journal_of_another_run_begins_anew_and_says_what_differs) {
  const TemporaryFolder folder;
  const auto blocks = some_blocks(2);
  const auto file = journal_of(folder, blocks);
  {
    const StampJournal journal(file, {facts[0], {"command", "firstedge-stamp other.h5"}}, limits);
    EXPECT_EQ(journal.differing_fact(), "command");
    EXPECT_EQ(journal.records(), 0U);
  }
  for (const char* text : {"junk", "firstedge stamp journal 1\n", "firstedge stamp journal 1\n3\n[[[\nx\n"}) {
    folder.write("stamps.h5.journal", text);
    EXPECT_EQ(StampJournal(file, facts, limits).differing_fact(), "layout") << text;
  }
}

TEST(stamp_journal, stamps_of_channels_or_methods_that_the_run_does_not_have_are_dropped) {
  const TemporaryFolder folder;
  const auto file = journal_of(folder, some_blocks(2));
  EXPECT_EQ(StampJournal(file, facts, {.channels = 1, .methods = 1}).records(), 0U);
}

TEST(stamp_journal, lengths_that_the_file_does_not_have_ask_for_no_memory) {
  const TemporaryFolder folder;
  const auto blocks = some_blocks(1);
  std::string bytes = test::text_of(journal_of(folder, blocks));
  const std::string mark = "FEJB1";
  const std::size_t block = bytes.find(mark);
  ASSERT_NE(block, std::string::npos);
  for (std::size_t field = 1; field < 6; ++field) {
    std::string hostile = bytes;
    hostile.replace(block + 8 * field, 8, std::string(7, '\xff') + '\x7f');
    folder.write("hostile", hostile);
    EXPECT_EQ(StampJournal(folder / "hostile", facts, limits).records(), 0U);
  }
}

TEST(stamp_journal, one_run_at_a_time) {
  const TemporaryFolder folder;
  const auto file = folder / "stamps.h5.journal";
  const StampJournal journal(file, facts, limits);
  EXPECT_EQ(sentence_of([&] { StampJournal(file, facts, limits); }),
            file.string() + ": is in use by another run; wait for its end, or write another output");
}

TEST(stamp_journal, a_full_disk_is_told_and_costs_nothing_that_was_finished) {
  const TemporaryFolder folder;
  const auto printed =
      test::printed_on_small_disk(folder.path(), 65536, [](const std::filesystem::path& disk) {
        const auto blocks = some_blocks(100);
        std::size_t appended = 0;
        const std::string sentence = sentence_of([&] {
          StampJournal journal(disk / "j", facts, limits);
          for (; appended < blocks.size(); ++appended) append(journal, blocks[appended]);
        });
        const StampJournal journal(disk / "j", facts, limits);
        std::printf("%s %d", sentence.c_str() + sentence.find("cannot"),
                    journal.records() == appended * records_in_block && appended > 20);
      });
  if (!printed) GTEST_SKIP() << "no user namespaces here";
  EXPECT_EQ(
      *printed,
      "cannot be written (No space left on device); mend the folder or the disk and give the same command "
      "again: what is finished is kept 1");
}

}  // namespace
}  // namespace firstedge
