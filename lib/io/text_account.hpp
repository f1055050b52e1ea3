// Keeps the account of a text run: what is told once, what is counted.
#pragma once

#include "firstedge/core/record.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/text_traces.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <map>
#include <set>
#include <string>
#include <vector>

namespace firstedge {

class TextAccount {
 public:
  explicit TextAccount(std::vector<std::string> channels);

  const ReadingAccount& account() const { return account_; }

  void add_good(const Record& record);
  void add_bad() { ++account_.records_bad; }
  /// Told if it is the first of its kind: of the same words, whatever the numbers and quoted texts in them.
  void add_problem(const Error& problem);
  void add_remarks(const TextRecord& record);
  void add_remark(const std::string& kind, const std::string& sentence);
  void add_identical(const std::filesystem::path& file, const std::filesystem::path& earlier);

  /// Adds the remarks that need the whole run. Call once.
  void finish();

 private:
  struct ChannelTally {
    std::uint64_t missing = 0, first_missing = 0;
    std::size_t shortest = 0, longest = 0;
    double least_interval_s = 0, most_interval_s = 0;
  };

  std::vector<std::string> channels_;
  std::vector<ChannelTally> tallies_;
  std::set<std::string> kinds_;
  std::uint64_t samples_not_numbers_ = 0;
  std::uint64_t identical_files_ = 0;
  std::string first_identical_;
  ReadingAccount account_;
};

}  // namespace firstedge
