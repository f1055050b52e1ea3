// The run's side of a delay measurement: mean traces and stamps of the pulses before and after, taken from
// the records.
#pragma once

#include "firstedge/delay/reflection.hpp"
#include "firstedge/delay/through.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// Where the pulse before and the pulse after were recorded. Files of one run, or, where `files_after` is not
/// empty, of two runs with a common trigger.
struct ThroughRunOptions {
  std::string before, after;  ///< channels; "": the first, and the second (of two runs: the first of each)
  std::vector<std::filesystem::path> files_after;
  std::uint64_t most_records = 20'000;
};

struct ThroughRun {
  ThroughData data;
  ReadingAccount account;  ///< of the run before, with the problems of the run after
};

/// Conditions both channels as the Setup says, stamps the first pulse of each by every method of the Setup
/// (paired by name), and averages the records in which both have a pulse without clipped samples; of one run
/// the records are moved by whole samples to where the first one has its pulse. Of two runs, record by record
/// in order, nothing is moved. Throws Error as learn_channels does, for names that are not there, a channel
/// paired with itself in one run, and channels with different sample intervals.
ThroughRun through_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                          const ThroughRunOptions& options = {});

struct ReflectionRunOptions {
  std::string channel;  ///< "": the first
  std::uint64_t most_records = 20'000;
};

struct ReflectionRun {
  TraceAverage average;
  std::uint64_t left_out = 0;  ///< records without a pulse, or clipped
  ReadingAccount account;
};

/// Averages one channel, records moved by whole samples to where the first one has its pulse (half of its
/// height). Throws Error as learn_channels does, and for a channel that is not there or never has a pulse.
ReflectionRun reflection_of_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                                const ReflectionRunOptions& options = {});

}  // namespace firstedge
