// A run made ready: what was learnt of it, the timers of its channels, and the head of its table.
#pragma once

#include "firstedge/batch/channel_timer.hpp"
#include "firstedge/batch/learning.hpp"
#include "firstedge/batch/run.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <deque>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// A pure function of the run's first records, the Setup and the templates given.
struct PreparedRun {
  std::vector<LearntChannel> channels;
  std::deque<ChannelTimer> timers;  ///< one a channel; a timer holds a mutex and stays where it is
  StampTableHead head;
  std::string learnt_sha256;  ///< of all that was learnt: two runs with the same may be put together
};

/// Learns from the records that the reader gives first. Throws Error as learn_channels does.
PreparedRun prepare_run(RecordReader& reader, const Setup& setup, const Provenance& provenance,
                        const std::vector<PulseTemplate>& templates);
PreparedRun prepare_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                        const Provenance& provenance, const std::vector<PulseTemplate>& templates);

/// The head of the table of a part, or of the whole run without one.
StampTableHead head_of_part(const PreparedRun& run, const std::optional<RecordPart>& part);

/// The provenance with the inputs' digests, once they are known. Throws Error where one cannot be read.
Provenance with_digests(const Provenance& provenance, const RunOptions& options);

/// A summary with nothing counted yet.
RunSummary empty_summary(const PreparedRun& run);

/// Adds the stamps to the cells and the sum of the summary.
void count_stamps(std::span<const Stamp> stamps, RunSummary& summary);

}  // namespace firstedge
