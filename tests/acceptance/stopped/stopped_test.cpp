// Runs of firstedge-stamp that are stopped at any moment: the same command again ends with the table of a run
// that was not, byte for byte.
#include "support/program.hpp"
#include "support/random.hpp"
#include "support/small_bench.hpp"
#include "support/small_disk.hpp"
#include "support/temporary_folder.hpp"

#include <csignal>
#include <cstdio>

#include <fcntl.h>
#include <gtest/gtest.h>

namespace firstedge::test {
namespace {

constexpr std::uint64_t records = 800;

class stopped : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    write_run(small_bench(records), *folder_ / "run.h5");
    folder_->write("setup.json", small_bench_setup);
    const Outcome outcome = run_program(words(at("whole.h5")));
    ASSERT_EQ(outcome.status, 0) << outcome.err;
    ASSERT_TRUE(outcome.err.empty()) << outcome.err;
    whole_ = text_of(at("whole.h5"));
  }
  static void TearDownTestSuite() { folder_.reset(); }

  static std::string at(const std::string& name) { return (*folder_ / name).string(); }
  static std::vector<std::string> words(const std::string& table) {
    return {app("stamp"), at("run.h5"), "--setup", at("setup.json"), "-o", table, "--block", "4", "--quiet"};
  }

  static inline std::unique_ptr<TemporaryFolder> folder_;
  static inline std::string whole_;
};

std::uintmax_t size_or_zero(const std::filesystem::path& file) {
  std::error_code missing;
  const std::uintmax_t size = std::filesystem::file_size(file, missing);
  return missing ? 0 : size;
}

// Starts the program and kills it once `now` says so; false if it ended before.
bool killed(const std::vector<std::string>& words, const std::function<bool()>& now) {
  const pid_t child = fork();
  if (child == 0) {
    const int nowhere = open("/dev/null", O_RDWR);
    for (const int stream : {0, 1, 2}) dup2(nowhere, stream);
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    execv(arguments[0], arguments.data());
    _exit(127);
  }
  int state = 0;
  while (waitpid(child, &state, WNOHANG) == 0) {
    if (now()) {
      kill(child, SIGKILL);
      waitpid(child, &state, 0);
      break;
    }
    usleep(50);
  }
  EXPECT_TRUE(WIFSIGNALED(state) || WEXITSTATUS(state) == 0);
  return WIFSIGNALED(state);
}

// A run that ends before this process sees its journal grow is started anew.
bool killed_in_the_middle(const std::vector<std::string>& words, const std::filesystem::path& journal) {
  constexpr std::uintmax_t some_blocks = 50'000;
  for (int attempt = 0; attempt < 20; ++attempt) {
    if (killed(words, [&] { return size_or_zero(journal) > some_blocks; })) return true;
  }
  return false;
}

TEST_F(stopped, killed_at_fifty_moments_the_same_command_ends_with_the_same_bytes) {
  Random random(20261128);
  const std::filesystem::path table = at("killed.h5"), journal = at("killed.h5.journal");
  // Rows of 100 bytes, three stamps a channel, a trigger of 25 bytes, and 112 bytes around each block
  // (docs/file-layouts.md); the head and the last block come to that.
  const double full = records * (6 * 100 + 25) + records / 4 * 112;
  int kills = 0, resumed = 0;
  const auto finish_and_compare = [&] {
    const Outcome outcome = run_program(words(table.string()));
    EXPECT_EQ(outcome.status, 0) << outcome.err;
    resumed += outcome.err.find("are finished") != std::string::npos ? 1 : 0;
    EXPECT_TRUE(text_of(table) == whole_) << "after " << kills << " kills";
    for (const char* rest : {".journal", ".part", ".part.triggers"})
      EXPECT_FALSE(std::filesystem::exists(table.string() + rest)) << rest;
    std::filesystem::remove(table);
  };
  for (int chain = 0; chain < 10; ++chain) {
    for (int i = 0; i < 5; ++i) {
      // Five kinds of moments, three of them at a size of the journal: no clock decides.
      const double target =
          random.uniform(std::min(static_cast<double>(size_or_zero(journal)), full - 1), full);
      const double polls = random.uniform(0, 2000);
      double polled = 0;
      const bool was_killed = killed(words(table.string()), [&] {
        ++polled;
        if (i == 3) return polled > polls;
        if (i == 4 && chain % 2 == 0) return std::filesystem::exists(table);
        return static_cast<double>(size_or_zero(journal)) >= target;
      });
      kills += was_killed ? 1 : 0;
      if (!was_killed) {  // the moment never came: one more on the next run, at once when a block is there
        EXPECT_TRUE(text_of(table) == whole_);
        std::filesystem::remove(table);
        kills += killed_in_the_middle(words(table.string()), journal) ? 1 : 0;
      }
      std::filesystem::remove(table);
      // A machine that stops may lose the end of what was written last.
      if (const auto size = size_or_zero(journal); size > 300 && random.uniform(0, 1) < 0.3)
        std::filesystem::resize_file(journal, size - static_cast<std::uintmax_t>(random.uniform(1, 300)));
    }
    finish_and_compare();
  }
  EXPECT_EQ(kills, 50);
  // Of the ten, five were last stopped at a size of the journal, and one in a hundred of those before a
  // block.
  EXPECT_GE(resumed, 4);
}

TEST_F(stopped, a_disk_that_was_full_costs_nothing_that_was_finished) {
  const TemporaryFolder disk;
  const auto printed =
      printed_on_small_disk(disk.path(), 2'000'000, [&](const std::filesystem::path& folder) {
        const std::filesystem::path table = folder / "stamps.h5", ballast = folder / "ballast";
        std::ofstream(ballast) << std::string(1'700'000, 'x') << std::flush;
        const Outcome full = run_program(words(table.string()));
        const bool one_sentence = std::count(full.err.begin(), full.err.end(), '\n') == 1 &&
                                  full.err.find("cannot be written (No space left") != std::string::npos;
        const bool appeared = std::filesystem::exists(table);
        std::filesystem::remove(ballast);
        const Outcome again = run_program(words(table.string()));
        std::printf("%d %d %d then %d %d %d", full.status, one_sentence, appeared, again.status,
                    again.err.find("are finished") != std::string::npos, text_of(table) == whole_);
        (void)folder_.release();  // it belongs to the parent
      });
  if (!printed) GTEST_SKIP() << "no user namespaces here";
  EXPECT_EQ(*printed, "2 1 0 then 0 1 1");
}

TEST_F(stopped, input_that_cannot_be_read_leaves_the_journal_alone) {
  const std::string table = at("unread.h5");
  const std::filesystem::path journal = table + ".journal";
  ASSERT_TRUE(killed_in_the_middle(words(table), journal));
  const std::string kept = text_of(journal);
  std::filesystem::rename(at("run.h5"), at("elsewhere.h5"));
  const Outcome gone = run_program(words(table));
  std::filesystem::rename(at("elsewhere.h5"), at("run.h5"));
  EXPECT_EQ(gone.status, 2);
  EXPECT_TRUE(text_of(journal) == kept);
  const Outcome again = run_program(words(table));
  EXPECT_EQ(again.status, 0);
  EXPECT_NE(again.err.find("are finished; the run goes on behind them"), std::string::npos) << again.err;
  EXPECT_TRUE(text_of(table) == whole_);
}

}  // namespace
}  // namespace firstedge::test
