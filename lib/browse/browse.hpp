// Browse: the pulses of a run that a person should see, with their traces, behind the bins and points of
// plots.
#pragma once

#include "firstedge/browse/survey.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/trace_browser.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include <filesystem>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

struct BrowseOptions {
  SurveyOptions survey;
  std::size_t most_traces = 600;
  /// Values of two bytes that all traces and fits may take on a page: 2.2 MB of it once written as text.
  std::size_t most_values = 800'000;
  std::vector<PulseTemplate> templates;  ///< those the table was made with, if they were not learnt
};

struct Browse {
  TraceBrowser browser;
  ReadingAccount account;
};

/// Chooses pulses of a stamp table and takes their traces from the run's files. The choice, stated in the
/// result, is the same on every call: of every flag of every channel, of the pulses without a flag, and of
/// every bin some by lot (lot_of), and those at the extremes; by turns (taken_by_turns) until there are
/// most_traces. A stretch is as long as most_values allows, 1,000 samples at most. The result's provenance is
/// left to the caller.
///
/// Throws Error as survey_table and cut_traces do, for a table without pulses, for one whose times have had
/// delays taken out, and where not one of the records chosen is in the files.
Browse browse_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                  const StampTableAt& table, const BrowseOptions& options = {});

/// A warning for each of these files that the table was not made from, as far as its provenance says.
std::vector<std::string> warnings_of_strangers(std::span<const Provenance::Input> files,
                                               const Provenance& of_table);

}  // namespace firstedge
