// The table of timing methods: from the Setup's words to a function that stamps a pulse.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"

#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// What was learnt of a channel before its pulses are stamped. pulse_template is null until one was built or
/// read.
struct ChannelKnowledge {
  NoiseModel noise;
  std::shared_ptr<const PulseTemplate> pulse_template;
};

/// A method made ready for one channel. time_pulses fills everything of a Stamp but record, channel, method
/// and pulse; it returns one Stamp a Pulse, in order. Pulses of one trace come together so that overlapping
/// ones can be told. bound_s is filled in, for every method, where the channel's template is known. Safe to
/// call from many threads.
struct TimingMethod {
  std::string name;      ///< "constant_fraction"
  std::string settings;  ///< for people: "fraction=0.3"
  std::function<std::vector<Stamp>(const ConditionedTrace&, std::span<const Pulse>)> time_pulses;
};

/// True if the method that these settings name needs ChannelKnowledge::pulse_template.
bool needs_template(const Settings& settings);

/// Makes the method ready. Setup group: {"method": name, ...options of that method}:
///   constant_fraction: "fraction"
///   leading_edge: "threshold" ("20 mV") or "threshold_over_noise"
///   delayed_fraction: "fraction", "delay" ("0.8 ns")
/// and for all three "interpolation" ("linear", "cubic", "quintic") and "edge_samples" (0, or an even number
/// from 6 to 128). The method is constant_fraction where none is named. Throws Error for unknown names, for
/// values without sense, and for a template that does not fit the noise's sample interval.
TimingMethod make_timing_method(const Settings& settings, const ChannelKnowledge& knowledge);

/// All names, for help texts and the documents.
std::vector<std::string> timing_method_names();

}  // namespace firstedge
