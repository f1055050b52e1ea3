// The run's side of the jitter budget: noise, templates, stamps and goodness of two channels, taken from the
// records.
#pragma once

#include "firstedge/budget/pair_budget.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace firstedge {

struct RunBudgetOptions {
  std::string first, second;  ///< channels; "": the run's first two
  std::string method;         ///< "": the one of the Setup with the smallest central half width
  std::uint64_t most_records = 20000;
};

struct RunBudget {
  BudgetPair pair;
  ReadingAccount account;
};

/// Stamps the first pulse of each record in both channels by every method of the Setup, and by the template
/// fit for its goodness; keeps the records where the chosen method's stamps carry no flag in either. Both
/// channels need a template. Methods are told apart by name ("constant_fraction", "constant_fraction 2").
/// Throws Error as learn_channels does, for names that are not there, a channel paired with itself, and for a
/// channel without a template.
RunBudget budget_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                        const RunBudgetOptions& options = {});

}  // namespace firstedge
