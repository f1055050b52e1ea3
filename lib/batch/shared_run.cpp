#include "firstedge/batch/shared_run.hpp"

#include "firstedge/batch/resume.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/locked_file.hpp"
#include "firstedge/io/stamp_journal.hpp"

#include <algorithm>
#include <memory>
#include <string>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_told = 20;  // ReadingAccount's promise

// Adds what an account tells and the other does not tell yet.
template <class Telling, class Text>
void add_new(std::vector<Telling>& to, const std::vector<Telling>& from, Text&& text) {
  for (const Telling& one : from) {
    const bool told =
        std::any_of(to.begin(), to.end(), [&](const Telling& other) { return text(other) == text(one); });
    if (!told && to.size() < most_told) to.push_back(one);
  }
}

void add(ReadingAccount& sum, const ReadingAccount& part) {
  sum.records_good += part.records_good;
  sum.records_bad += part.records_bad;
  sum.traces_missing += part.traces_missing;
  add_new(sum.problems, part.problems, [](const Error& problem) { return std::string(problem.what()); });
  add_new(sum.remarks, part.remarks, [](const std::string& remark) { return remark; });
}

std::unique_ptr<StampJournal> finished_journal(const PreparedRun& run, const std::filesystem::path& table,
                                               const RecordPart& part, const RunOptions& options) {
  const std::filesystem::path file = journal_of_part(table, part);
  auto journal = open_journal(run, part, file);
  if (!journal->account() || !has_these_inputs(*journal, run, options)) {
    throw Error(file.string(), "is not there or not finished",
                "let all processes write into one folder, and give the same command again");
  }
  return journal;
}

}  // namespace

std::filesystem::path journal_of_part(const std::filesystem::path& table, const RecordPart& part) {
  std::filesystem::path journal = table;
  journal += fmt::format(".part-{}-of-{}.journal", part.number, part.of);
  return journal;
}

void stamp_into_journal(const PreparedRun& run, const std::vector<std::filesystem::path>& files,
                        const Setup& setup, const std::filesystem::path& table, const RunOptions& options) {
  RunTail tail =
      tail_of(run, files, setup, journal_of_part(table, options.part.value_or(RecordPart{})), options);
  std::uint64_t records = tail.journal->records();
  stamp_tail(run, tail, options, [&](const StampedBlock& block) {
    records += block.records;
    if (options.progress) options.progress(records, block.share_read);
  });
}

RunSummary table_from_journals(const PreparedRun& run, const std::vector<std::filesystem::path>& files,
                               const Setup& setup, const std::filesystem::path& table, std::uint64_t parts,
                               const RunOptions& options) {
  RunSummary summary = empty_summary(run);
  summary.description = open_records(files, setup.input)->description();
  StampTableWriter writer(table, run.head);
  for (std::uint64_t number = 1; number <= parts; ++number) {
    const auto journal = finished_journal(run, table, {.number = number, .of = parts}, options);
    journal->replay([&](const JournalBlock& block) {
      writer.write(block.stamps, block.triggers);
      count_stamps(block.stamps, summary);
      summary.records += block.records;
    });
    add(summary.account, *journal->account());
  }
  if (options.digests) writer.complete(with_digests(run.head.provenance, options));
  writer.finish();
  settle_on_disk(table);
  for (std::uint64_t number = 1; number <= parts; ++number)
    std::filesystem::remove(journal_of_part(table, {.number = number, .of = parts}));
  return summary;
}

}  // namespace firstedge
