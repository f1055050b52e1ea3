// One run shared out: threads, blocks, parts on many machines and ranks under mpirun give the same bytes.
#include "support/program.hpp"
#include "support/small_bench.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

namespace firstedge::test {
namespace {

class shares : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    write_run(small_bench(500), *folder_ / "run.h5");
    folder_->write("setup.json", small_bench_setup);
    setenv("OMPI_ALLOW_RUN_AS_ROOT", "1", 1);
    setenv("OMPI_ALLOW_RUN_AS_ROOT_CONFIRM", "1", 1);
    const Outcome outcome = run_program(stamp("whole.h5", {}));
    ASSERT_EQ(outcome.status, 0) << outcome.err;
    whole_ = text_of(at("whole.h5"));
  }
  static void TearDownTestSuite() { folder_.reset(); }

  static std::string at(const std::string& name) { return (*folder_ / name).string(); }
  static std::vector<std::string> stamp(const std::string& table, const std::vector<std::string>& more) {
    std::vector<std::string> words{app("stamp"), at("run.h5"), "--setup", at("setup.json"),
                                   "-o",         at(table),    "--quiet"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
  }
  static std::vector<std::string> under_mpirun(const std::string& ranks, std::vector<std::string> words) {
    const std::vector<std::string> launcher{"mpirun", "--oversubscribe", "-n", ranks};
    words.insert(words.begin(), launcher.begin(), launcher.end());
    return words;
  }
  static bool has_ranks() { return std::filesystem::exists(app("stamp-ranks")); }
  static std::size_t files_named(const std::string& start) {
    std::size_t count = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder_->path()))
      count += entry.path().filename().string().starts_with(start) ? 1 : 0;
    return count;
  }

  static inline std::unique_ptr<TemporaryFolder> folder_;
  static inline std::string whole_;
};

TEST_F(shares, threads_times_block_sizes_times_ranks_give_the_same_file) {
  std::vector<std::string> of_ranks{"1"};
  if (has_ranks()) of_ranks = {"1", "2", "3"};
  for (const std::string& ranks : of_ranks) {
    for (const std::string threads : {"1", "2", "5"}) {
      for (const std::string block : {"3", "256"}) {
        const auto words = stamp("same.h5", {"--threads", threads, "--block", block});
        const Outcome outcome = run_program(ranks == "1" ? words : under_mpirun(ranks, words));
        ASSERT_EQ(outcome.status, 0) << outcome.err;
        EXPECT_TRUE(text_of(at("same.h5")) == whole_)
            << ranks << " ranks, " << threads << " threads, blocks of " << block;
        EXPECT_EQ(files_named("same"), 1U);
        std::filesystem::remove(at("same.h5"));
      }
    }
  }
}

TEST_F(shares, parts_put_together_are_the_whole) {
  std::vector<std::string> merge{app("stamp"), "--merge", "-o", at("together.h5"), "--quiet"};
  for (const std::string k : {"3", "1", "4", "2"}) {  // in any order
    ASSERT_EQ(run_program(stamp("part-" + k + ".h5", {"--part", k + "/4", "--threads", k})).status, 0);
    merge.push_back(at("part-" + k + ".h5"));
  }
  EXPECT_EQ(run_program(merge).status, 0);
  EXPECT_TRUE(text_of(at("together.h5")) == whole_);
  merge.pop_back();
  const Outcome missing = run_program(merge);
  EXPECT_EQ(missing.status, 2);
  EXPECT_EQ(missing.err, "firstedge-stamp: part 2/4: is missing; give all 4 parts\n");
  for (const std::string part : {"0/3", "4/3", "3", "a/3", "1/3x", "-1/3"})
    EXPECT_EQ(run_program(stamp("none.h5", {"--part", part})).status, 2) << part;
  EXPECT_EQ(files_named("none"), 0U);
}

TEST_F(shares, a_rank_that_fails_costs_no_finished_part) {
  if (!has_ranks()) GTEST_SKIP() << "built without MPI";
  // In the place of rank 2's journal stands a folder: that rank fails, the others finish their parts.
  std::filesystem::create_directory(at("failed.h5.part-2-of-3.journal"));
  const auto words = under_mpirun("3", stamp("failed.h5", {}));
  const Outcome failed = run_program(words);
  EXPECT_EQ(failed.status, 2);
  EXPECT_NE(failed.err.find("failed.h5.part-2-of-3.journal: cannot be opened (Is a directory)"),
            std::string::npos)
      << failed.err;
  EXPECT_FALSE(std::filesystem::exists(at("failed.h5")));
  std::filesystem::remove(at("failed.h5.part-2-of-3.journal"));
  const Outcome again = run_program(words);
  EXPECT_EQ(again.status, 0);
  EXPECT_NE(again.err.find("failed.h5.part-1-of-3.journal: all 166 records are finished"), std::string::npos)
      << again.err;
  EXPECT_TRUE(text_of(at("failed.h5")) == whole_);
  EXPECT_EQ(files_named("failed"), 1U);
}

TEST_F(shares, wrong_words_are_refused_once_however_many_ranks) {
  if (!has_ranks()) GTEST_SKIP() << "built without MPI";
  for (const std::vector<std::string>& more :
       {std::vector<std::string>{"--no-such-option"}, {"/no/such/file"}}) {
    const Outcome outcome = run_program(under_mpirun("3", stamp("none.h5", more)));
    EXPECT_EQ(outcome.status, 2);
    const std::size_t first = outcome.err.find("firstedge-stamp: ");
    ASSERT_NE(first, std::string::npos) << outcome.err;
    EXPECT_EQ(outcome.err.find("firstedge-stamp: ", first + 1), std::string::npos) << outcome.err;
  }
}

}  // namespace
}  // namespace firstedge::test
