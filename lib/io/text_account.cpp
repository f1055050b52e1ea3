#include "firstedge/io/text_account.hpp"

#include "firstedge/core/estimate.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr std::size_t most_problems = 20;
// Intervals fitted to printed times differ by their rounding; more than this is another time base.
constexpr double same_interval = 1e-5;

// The words of a sentence without its numbers and quoted texts.
std::string words_of(const std::string& sentence) {
  std::string words;
  bool quoted = false;
  for (const char c : sentence) {
    if (c == '\'') quoted = !quoted;
    if (!quoted && ((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'))) words += c;
  }
  return words;
}

}  // namespace

TextAccount::TextAccount(std::vector<std::string> channels)
    : channels_(std::move(channels)), tallies_(channels_.size()) {}

void TextAccount::add_good(const Record& record) {
  ++account_.records_good;
  for (std::size_t i = 0; i < record.traces.size(); ++i) {
    const Trace& trace = record.traces[i];
    ChannelTally& tally = tallies_[i];
    if (trace.empty()) {
      ++account_.traces_missing;
      if (tally.missing++ == 0) tally.first_missing = record.index;
      continue;
    }
    const bool is_first = tally.longest == 0;
    tally.shortest = is_first ? trace.size() : std::min(tally.shortest, trace.size());
    tally.longest = std::max(tally.longest, trace.size());
    tally.least_interval_s = is_first ? trace.interval_s : std::min(tally.least_interval_s, trace.interval_s);
    tally.most_interval_s = std::max(tally.most_interval_s, trace.interval_s);
  }
}

void TextAccount::add_problem(const Error& problem) {
  if (account_.problems.size() >= most_problems) return;
  if (kinds_.insert("problem " + words_of(problem.problem())).second) account_.problems.push_back(problem);
}

void TextAccount::add_remark(const std::string& kind, const std::string& sentence) {
  if (kinds_.insert("remark " + kind).second) account_.remarks.push_back(sentence);
}

void TextAccount::add_remarks(const TextRecord& record) {
  samples_not_numbers_ += record.samples_not_numbers;
  for (const TextRemark& remark : record.remarks) add_remark(remark.kind, remark.sentence);
}

void TextAccount::add_identical(const std::filesystem::path& file, const std::filesystem::path& earlier) {
  if (identical_files_++ == 0) {
    first_identical_ = fmt::format("{} and {}", earlier.string(), file.string());
  }
}

void TextAccount::finish() {
  if (identical_files_ > 0) {
    account_.remarks.push_back(
        fmt::format("files that are byte for byte the same as an earlier one: {} (the first are {})",
                    identical_files_, first_identical_));
  }
  if (samples_not_numbers_ > 0) {
    account_.remarks.push_back(
        fmt::format("samples given as nan or inf, which count as clipped: {}", samples_not_numbers_));
  }
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    const ChannelTally& tally = tallies_[i];
    if (tally.missing > 0) {
      account_.remarks.push_back(fmt::format("channel '{}' is missing from {} of {} records, record {} first",
                                             channels_[i], tally.missing, account_.records_good,
                                             tally.first_missing));
    }
    if (tally.shortest != tally.longest) {
      account_.remarks.push_back(fmt::format("channel '{}': records have from {} to {} samples", channels_[i],
                                             tally.shortest, tally.longest));
    }
    if (tally.most_interval_s - tally.least_interval_s > same_interval * tally.most_interval_s) {
      account_.remarks.push_back(fmt::format("channel '{}': sample intervals from {} to {}", channels_[i],
                                             format_quantity(tally.least_interval_s, "s"),
                                             format_quantity(tally.most_interval_s, "s")));
    }
  }
}

}  // namespace firstedge
