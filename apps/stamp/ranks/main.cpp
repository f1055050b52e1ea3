// firstedge-stamp-ranks: firstedge-stamp as many processes under mpirun. The ranks share out the records,
// each stamps its part into a journal beside the table, and rank 0 writes the table. The messages between
// them are only how it went.
#include "firstedge/batch/shared_run.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/threads.hpp"

#include "stamp/job.hpp"

#include <algorithm>
#include <exception>
#include <functional>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <fcntl.h>
#include <fmt/format.h>
#include <mpi.h>
#include <unistd.h>

namespace {

using namespace firstedge;

constexpr int exit_bad_input = 2, exit_our_fault = 1;

// How one rank fared: an exit code, and the sentence that goes with it.
struct Outcome {
  int code = 0;
  std::string sentence;
};

Outcome outcome_of(const std::function<void()>& call) {
  try {
    call();
    return {};
  } catch (const Error& error) {
    return {exit_bad_input, error.what()};
  } catch (const std::exception& fault) {
    return {exit_our_fault, std::string("fault in the program: ") + fault.what()};
  }
}

struct Ranks {
  int number = 0, count = 1;
  static Ranks all() {
    Ranks ranks;
    MPI_Comm_rank(MPI_COMM_WORLD, &ranks.number);
    MPI_Comm_size(MPI_COMM_WORLD, &ranks.count);
    return ranks;
  }
  bool first() const { return number == 0; }
};

// The worst code of all ranks, on each of them. Rank 0 prints each sentence once.
int agreed(const Ranks& ranks, const Outcome& mine, const std::string& name) {
  constexpr std::size_t longest = 1024;
  std::string padded = mine.sentence.substr(0, longest);
  padded.resize(longest);
  std::string all(ranks.first() ? longest * static_cast<std::size_t>(ranks.count) : 0, '\0');
  MPI_Gather(padded.data(), longest, MPI_CHAR, all.data(), longest, MPI_CHAR, 0, MPI_COMM_WORLD);
  std::set<std::string> sentences;
  for (std::size_t at = 0; at < all.size(); at += longest) sentences.emplace(all.substr(at, longest).c_str());
  for (const std::string& sentence : sentences) {
    if (!sentence.empty()) fmt::print(stderr, "{}: {}\n", name, sentence);
  }
  int worst = mine.code;
  MPI_Allreduce(MPI_IN_PLACE, &worst, 1, MPI_INT, MPI_MAX, MPI_COMM_WORLD);
  return worst;
}

// Keeps what this process says on standard error from being seen.
class Muted {
 public:
  Muted() : standard_error_(dup(STDERR_FILENO)) {
    if (const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC); nowhere >= 0) {
      dup2(nowhere, STDERR_FILENO);
      close(nowhere);
    }
  }
  ~Muted() {
    dup2(standard_error_, STDERR_FILENO);
    close(standard_error_);
  }
  Muted(const Muted&) = delete;
  Muted& operator=(const Muted&) = delete;

 private:
  int standard_error_;
};

// Returns the exit code: that of the run on rank 0, 0 on the others.
int stamp_together(StampJob& job, const Ranks& ranks, int argc, char** argv) {
  const auto count = static_cast<std::uint64_t>(ranks.count);
  const std::string name = app_name(argv);
  const ThreadLimit limit(job.run.threads);
  StampInputs inputs;
  PreparedRun run;
  const Outcome part = outcome_of([&] {
    if (!job.part.empty()) throw Error("--part " + job.part, "is not for many ranks", "leave it out");
    inputs = inputs_of(job, argc, argv);
    job.run.part = RecordPart{.number = static_cast<std::uint64_t>(ranks.number) + 1, .of = count};
    run = prepare_run(job.files, inputs.setup, inputs.provenance, job.run.templates);
    stamp_into_journal(run, job.files, inputs.setup, job.table, job.run);
  });
  const int code = agreed(ranks, part, name);
  if (code != 0 || !ranks.first()) return ranks.first() ? code : 0;
  const RunSummary summary = table_from_journals(run, job.files, inputs.setup, job.table, count, job.run);
  return put_out(job, summary, with_digests(inputs.provenance, job.run));
}

int do_job_together(StampJob& job, int argc, char** argv) {
  const Ranks ranks = Ranks::all();
  if (job.merge) return ranks.first() ? do_job(job, argc, argv) : 0;
  return stamp_together(job, ranks, argc, argv);
}

}  // namespace

int main(int argc, char** argv) {
  MPI_Init(&argc, &argv);
  // All ranks have the same words: of wrong ones, rank 0 alone speaks.
  std::optional<Muted> muted;
  if (!Ranks::all().first()) muted.emplace();
  const int code = run_stamp_app(argc, argv, [&](StampJob& job, int words, char** word) {
    muted.reset();
    return do_job_together(job, words, word);
  });
  MPI_Finalize();
  return code;
}
