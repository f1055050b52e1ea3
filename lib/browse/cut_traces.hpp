// Cut traces: the records of a run read again, to take out the stretches around the chosen pulses.
#pragma once

#include "firstedge/browse/shortlist.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/trace_browser.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"
#include "firstedge/io/stamp_table.hpp"

#include <cstdint>
#include <filesystem>
#include <map>
#include <utility>
#include <vector>

namespace firstedge {

/// All stamps of traces, by record and channel.
using StampsOfTraces = std::map<std::pair<std::uint64_t, std::uint16_t>, std::vector<Stamp>>;

/// The stamps of the traces that hold these pulses, the other pulses of the trace among them.
StampsOfTraces stamps_of_traces(const StampTableAt& table, const std::vector<PulseName>& pulses);

struct CutRequest {
  std::vector<PulseName> pulses;  ///< in rising order
  StampsOfTraces stamps;
  std::vector<std::string> channels;  ///< names of the table's channels
  std::size_t method = 0;             ///< whose times the stretch is laid around
  std::size_t fit_method = 0;         ///< a template method, whose fit is drawn; any other: no fit is drawn
  bool draws_fit = false;
  std::size_t most_samples = 1000;  ///< of a stretch
};

struct CutTraces {
  std::vector<BrowsedTrace> traces;  ///< in the order of the request; a pulse that is not there is left out
  ReadingAccount account;            ///< of the records up to the last that was needed
};

/// Learns from the first records as stamping does, conditions the traces asked for, and cuts them. fit_volts
/// is the template (the mean shape of a family) at the times and heights of all pulses of the trace, on the
/// level of the shown one's fit. The table's times must be as stamped, no delays taken out. Throws Error as
/// learn_channels does, and for a channel of the table that is not in the run.
CutTraces cut_traces(const std::vector<std::filesystem::path>& files, const Setup& setup,
                     const std::vector<PulseTemplate>& templates, const CutRequest& request);

}  // namespace firstedge
