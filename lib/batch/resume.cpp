#include "firstedge/batch/resume.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/provenance_json.hpp"

#include <span>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

JournalFacts facts_of(const PreparedRun& run, const RecordPart& part) {
  const Provenance& made_by = run.head.provenance;
  std::string inputs, options;
  for (const Provenance::Input& input : made_by.inputs)
    inputs += fmt::format("{} {}\n", input.bytes, input.name);
  for (const auto& [name, text] : made_by.options) options += fmt::format("{}={}\n", name, text);
  return {{"version", fmt::format("{} {}", made_by.program, made_by.version)},
          {"inputs", inputs},
          {"Setup", sha256(std::as_bytes(std::span(made_by.setup)))},
          {"command", made_by.command},
          {"options", options},
          {"part", fmt::format("{}/{}", part.number, part.of)},
          {"noise or templates", run.learnt_sha256}};
}

// The names of notes in a journal: what is known of the inputs from the beginning, and in the end.
constexpr const char* state_note = "state of the inputs";
constexpr const char* digests_note = "digests of the inputs";

std::string digest_of(const std::vector<Provenance::Input>& inputs) {
  std::string digests;
  for (const Provenance::Input& input : inputs) digests += input.sha256 + "\n";
  return sha256(std::as_bytes(std::span(digests)));
}

void note_digests_if_known(StampJournal& journal, const RunOptions& options) {
  if (!options.digests || !options.digests->are_known() || journal.noted(digests_note)) return;
  // Digests of files that changed meanwhile say nothing about the blocks before.
  if (options.digests->are_unchanged()) journal.note(digests_note, digest_of(options.digests->wait()));
}

// What a journal without blocks begins with.
void note_inputs(StampJournal& journal, const PreparedRun& run, const RunOptions& options) {
  if (options.digests) {
    journal.note(state_note, options.digests->state());
  } else {
    journal.note(digests_note, digest_of(run.head.provenance.inputs));
  }
}

void tell(const RunOptions& options, const std::string& sentence) {
  if (options.tell) options.tell(sentence);
}

}  // namespace

std::filesystem::path journal_beside(const std::filesystem::path& table) {
  std::filesystem::path journal = table;
  journal += ".journal";
  return journal;
}

std::unique_ptr<StampJournal> open_journal(const PreparedRun& run, const RecordPart& part,
                                           const std::filesystem::path& file) {
  return std::make_unique<StampJournal>(
      file, facts_of(run, part),
      JournalLimits{.channels = run.head.channels.size(), .methods = run.head.methods.size()});
}

bool has_these_inputs(const StampJournal& journal, const PreparedRun& run, const RunOptions& options) {
  if (const auto digests = journal.noted(digests_note))
    return *digests == digest_of(with_digests(run.head.provenance, options).inputs);
  return options.digests && journal.noted(state_note) == options.digests->state();
}

RunTail tail_of(const PreparedRun& run, const std::vector<std::filesystem::path>& files, const Setup& setup,
                const std::filesystem::path& journal, const RunOptions& options,
                std::shared_ptr<RecordReader> at_start) {
  const RecordPart part = options.part.value_or(RecordPart{});
  const RecordRange range = range_of(part, files, setup);
  const auto open = [&]() -> std::shared_ptr<RecordReader> { return open_records(files, setup.input); };
  const auto open_at_start = [&] { return at_start ? std::exchange(at_start, nullptr) : open(); };
  const auto reader_from = [&](std::uint64_t first_left) {
    return first_left == 0 ? std::make_unique<RecordRangeReader>(open_at_start, range, 0)
                           : std::make_unique<RecordRangeReader>(open, range, first_left);
  };
  RunTail tail;
  if (!options.journal) {
    tail.reader = reader_from(range.first);
    return tail;
  }
  tail.journal = open_journal(run, part, journal);
  const std::string name = journal.string();
  std::string differing = tail.journal->differing_fact();
  const bool holds_some = tail.journal->records() > 0 || tail.journal->account();
  if (holds_some && !has_these_inputs(*tail.journal, run, options)) differing = "inputs";
  if (!differing.empty())
    tell(options, fmt::format("{}: belongs to a run with another {}; the run begins anew", name, differing));
  if (!holds_some || !differing.empty()) {
    tail.journal->begin_anew();
    note_inputs(*tail.journal, run, options);
  }
  const std::uint64_t kept = tail.journal->records();
  if (tail.journal->account()) {  // only the table is to be written: nothing is read
    tail.reader = std::make_unique<RecordRangeReader>(open, RecordRange{}, 0);
    tell(options, fmt::format("{}: all {} records are finished", name, kept));
    return tail;
  }
  tail.reader = reader_from(kept > 0 ? tail.journal->next_record() : range.first);
  if (tail.reader->passed() != kept) {
    tell(options, fmt::format("{}: holds {} records where {} are read now; the run begins anew", name, kept,
                              tail.reader->passed()));
    tail.journal->begin_anew();
    note_inputs(*tail.journal, run, options);
    tail.reader = reader_from(range.first);
  } else if (kept > 0) {
    tell(options, fmt::format("{}: {} records are finished; the run goes on behind them", name, kept));
  }
  return tail;
}

void stamp_tail(const PreparedRun& run, RunTail& tail, const RunOptions& options,
                const std::function<void(const StampedBlock&)>& take) {
  if (tail.journal && tail.journal->account()) return;
  stamp_records(run, *tail.reader, options, [&](const StampedBlock& block) {
    if (tail.journal) {
      note_digests_if_known(*tail.journal, options);
      tail.journal->append(block.records, block.next_record, block.stamps, block.triggers);
    }
    take(block);
  });
  if (tail.journal) tail.journal->end(tail.reader->account());
}

ReadingAccount account_of(const RunTail& tail) {
  return tail.journal && tail.journal->account() ? *tail.journal->account() : tail.reader->account();
}

}  // namespace firstedge
