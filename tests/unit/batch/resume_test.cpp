// Claims of resuming: a run that was stopped, however often and wherever, gives the table of one that was
// not; a journal of anything else is not gone on with, and that is said.
#include "firstedge/batch/resume.hpp"

#include "firstedge/batch/shared_run.hpp"
#include "firstedge/core/error.hpp"

#include "support/program.hpp"
#include "support/sentence_of.hpp"
#include "support/small_bench.hpp"
#include "support/temporary_folder.hpp"

#include <chrono>
#include <fstream>
#include <functional>
#include <memory>
#include <stdexcept>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::TemporaryFolder;
using testing::ElementsAre;
using testing::EndsWith;

constexpr std::uint64_t records = 150;

class resume : public testing::Test {
 protected:
  resume() : setup_(parse_setup(test::small_bench_setup, "test")) {
    test::write_run(test::small_bench(records), run_);
    stamp_run({run_}, setup_, folder_ / "whole.h5", provenance_, {});
  }

  // Stops behind so many blocks.
  void stop_after(int blocks, RunOptions options) {
    options.journal = true;
    options.progress = [&](std::uint64_t, auto) {
      if (--blocks == 0) throw std::runtime_error("stopped");
    };
    EXPECT_THROW(stamp_run({run_}, setup_, table_, provenance_, options), std::runtime_error);
    EXPECT_FALSE(std::filesystem::exists(table_));
  }

  RunSummary finish(const RunOptions& options = {}) {
    said_.clear();
    RunOptions with_journal = options;
    with_journal.journal = true;
    with_journal.tell = [&](const std::string& sentence) { said_.push_back(sentence); };
    RunSummary summary = stamp_run({run_}, setup_, table_, provenance_, with_journal);
    EXPECT_FALSE(std::filesystem::exists(journal_beside(table_)));
    return summary;
  }

  bool is_whole() const { return test::text_of(table_) == test::text_of(folder_ / "whole.h5"); }

  TemporaryFolder folder_;
  std::filesystem::path run_ = folder_ / "run.h5", table_ = folder_ / "stamps.h5";
  firstedge::Setup setup_;
  Provenance provenance_{.program = "firstedge-stamp", .version = "1", .inputs = {{"run.h5", 1, "ab"}}};
  std::vector<std::string> said_;
};

TEST_F(resume, a_run_stopped_again_and_again_ends_with_the_same_table_and_counts) {
  const RunSummary at_once = finish();
  EXPECT_TRUE(said_.empty());
  std::filesystem::remove(table_);
  stop_after(3, {.threads = 1, .records_in_block = 16});
  stop_after(2, {.threads = 2, .records_in_block = 30});
  stop_after(20, {.threads = 2, .records_in_block = 1});
  const RunSummary summary = finish({.threads = 2, .records_in_block = 7});
  EXPECT_TRUE(is_whole());
  // Blocks that were under way when the run was stopped may have been finished too.
  ASSERT_EQ(said_.size(), 1U);
  EXPECT_THAT(said_[0], EndsWith("records are finished; the run goes on behind them"));
  EXPECT_EQ(summary.records, records);
  EXPECT_EQ(summary.stamps, at_once.stamps);
  EXPECT_EQ(summary.account.records_good, records);
  EXPECT_EQ(summary.cells[1][2].unflagged, at_once.cells[1][2].unflagged);
}

TEST_F(resume, a_part_is_resumed_as_a_part) {
  const RunOptions part{.records_in_block = 10, .part = RecordPart{.number = 2, .of = 3}};
  stop_after(2, part);
  const RunSummary summary = finish(part);
  EXPECT_THAT(said_, ElementsAre(EndsWith("records are finished; the run goes on behind them")));
  EXPECT_EQ(summary.account.records_good, records / 3);
  StampTableReader table(table_);
  EXPECT_EQ(table.head().part->number, 2U);
  const auto stamps = table.next_block(10000);
  EXPECT_EQ(stamps.front().record, records / 3);
  EXPECT_EQ(stamps.back().record, records * 2 / 3 - 1);
}

TEST_F(resume, with_other_inputs_setup_command_version_or_part_it_begins_anew_and_says_so) {
  const auto journal = journal_beside(table_).string();
  const auto fact_after = [&](const std::function<void()>& change) {
    stop_after(2, {.records_in_block = 10});
    change();
    finish();
    const std::string first = said_.empty() ? "" : said_.front();
    const std::string start = journal + ": belongs to a run with another ", end = "; the run begins anew";
    EXPECT_EQ(first.substr(0, start.size()), start);
    EXPECT_THAT(first, EndsWith(end));
    std::filesystem::remove(table_);
    return first.substr(start.size(), first.size() - start.size() - end.size());
  };
  EXPECT_EQ(fact_after([&] { provenance_.inputs[0].sha256 = "ac"; }), "inputs");
  EXPECT_EQ(fact_after([&] { provenance_.version = "2"; }), "version");
  EXPECT_EQ(fact_after([&] { provenance_.setup = "{}"; }), "Setup");
  EXPECT_EQ(fact_after([&] { provenance_.command = "other"; }), "command");
  EXPECT_EQ(fact_after([&] { provenance_.options["a"] = "b"; }), "options");
  EXPECT_EQ(fact_after([&] { setup_.learning_records = 90; }), "noise or templates");
  stop_after(2, {.records_in_block = 10, .part = RecordPart{.number = 1, .of = 2}});
  finish();
  EXPECT_EQ(said_.size(), 1U);
}

TEST_F(resume, inputs_are_known_by_their_digests_or_before_those_are_known_by_their_times_of_change) {
  const auto begun = [&](bool digests_known) {
    auto digests = std::make_shared<InputDigests>(std::vector{run_});
    provenance_.inputs = digests->names();
    if (digests_known) digests->wait();
    return digests;
  };
  // A journal as one is that was stopped before the digests were known.
  const auto forget_digests = [&](const std::string& state) {
    const auto journal =
        open_journal(prepare_run({run_}, setup_, provenance_, {}), {}, journal_beside(table_));
    std::vector<JournalBlock> blocks;
    journal->replay([&](const JournalBlock& block) { blocks.push_back(block); });
    journal->begin_anew();
    journal->note("state of the inputs", state);
    for (const JournalBlock& block : blocks)
      journal->append(block.records, block.next_record, block.stamps, block.triggers);
  };
  const auto touch = [&] {
    std::filesystem::last_write_time(run_, std::filesystem::last_write_time(run_) + std::chrono::seconds(1));
  };
  // Another content of the same size and records: a byte behind all that HDF5 looks at.
  std::ofstream(run_, std::ios::binary | std::ios::app) << "spare bytes";
  const auto spoil = [&] {
    std::string text = test::text_of(run_);
    text.back() = 'S';
    folder_.write("run.h5", text);
  };
  const auto goes_on = [&](bool known, bool keeps_digests, const std::function<void()>& change) {
    const auto digests = begun(known);
    stop_after(3, {.threads = 1, .records_in_block = 10, .digests = digests});
    if (!keeps_digests) forget_digests(digests->state());
    change();
    finish({.digests = begun(false)});
    std::filesystem::remove(table_);
    EXPECT_EQ(said_.size(), 1U);
    return !said_.empty() && said_[0].ends_with("the run goes on behind them");
  };
  EXPECT_TRUE(goes_on(true, true, [] {}));
  EXPECT_TRUE(goes_on(true, true, touch));
  EXPECT_TRUE(goes_on(true, false, [] {}));
  EXPECT_FALSE(goes_on(true, false, touch));
  EXPECT_FALSE(goes_on(true, true, spoil));
}

TEST_F(resume, records_that_are_read_now_and_were_not_then_begin_it_anew) {
  // As if one record of each block could not be read at the time.
  stop_after(3, {.threads = 1, .records_in_block = 20});
  const auto journal = journal_beside(table_);
  {
    const PreparedRun run = prepare_run({run_}, setup_, provenance_, {});
    const auto kept = open_journal(run, {}, journal);
    std::vector<JournalBlock> blocks;
    kept->replay([&](const JournalBlock& block) { blocks.push_back(block); });
    const auto digests = kept->noted("digests of the inputs");
    kept->begin_anew();
    kept->note("digests of the inputs", digests.value());
    for (const JournalBlock& block : blocks)
      kept->append(block.records - 1, block.next_record, block.stamps, block.triggers);
  }
  finish();
  ASSERT_EQ(said_.size(), 1U);
  EXPECT_THAT(said_[0], EndsWith("are read now; the run begins anew"));
  EXPECT_TRUE(is_whole());
}

TEST_F(resume, a_table_that_cannot_be_written_leaves_what_was_finished) {
  stop_after(4, {.records_in_block = 20});
  std::filesystem::create_directory(folder_ / "stamps.h5.part");
  EXPECT_NE(test::sentence_of([&] { finish(); }), "");
  std::filesystem::remove(folder_ / "stamps.h5.part");
  finish();
  EXPECT_THAT(said_, ElementsAre(EndsWith("the run goes on behind them")));
  EXPECT_TRUE(is_whole());
}

TEST_F(resume, without_a_journal_a_run_keeps_none) {
  RunOptions options;
  options.progress = [](std::uint64_t, auto) { throw std::runtime_error("stopped"); };
  EXPECT_THROW(stamp_run({run_}, setup_, table_, provenance_, options), std::runtime_error);
  EXPECT_FALSE(std::filesystem::exists(journal_beside(table_)));
}

TEST_F(resume, journals_of_parts_make_the_table_and_are_gone) {
  const PreparedRun run = prepare_run({run_}, setup_, provenance_, {});
  for (const std::uint64_t parts : {1, 3}) {
    std::filesystem::remove(table_);
    for (std::uint64_t k = parts; k >= 1; --k) {
      EXPECT_NE(test::sentence_of([&] {
                  table_from_journals(run, {run_}, setup_, table_, parts);
                }).find("not finished"),
                std::string::npos);
      stamp_into_journal(run, {run_}, setup_, table_, {.part = RecordPart{k, parts}, .journal = true});
    }
    const RunSummary summary = table_from_journals(run, {run_}, setup_, table_, parts);
    EXPECT_TRUE(is_whole()) << parts;
    EXPECT_EQ(summary.records, records);
    EXPECT_EQ(summary.account.records_good, records);
    for (std::uint64_t k = 1; k <= parts; ++k)
      EXPECT_FALSE(std::filesystem::exists(journal_of_part(table_, {k, parts})));
  }
}

}  // namespace
}  // namespace firstedge
