// The table of timing methods: from the Setup's words to a function that stamps a pulse.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/timing/shape_family.hpp"
#include "firstedge/timing/template_building.hpp"
#include "firstedge/timing/walk_correction.hpp"

#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// What was learnt of a channel before its pulses are stamped. pulse_template is null until one was built or
/// read; the family around it and the walk correction of one method are null until they were learnt.
struct ChannelKnowledge {
  NoiseModel noise;
  std::shared_ptr<const PulseTemplate> pulse_template;
  std::shared_ptr<const ShapeFamily> family;
  std::shared_ptr<const WalkCorrection> walk;
};

/// A method made ready for one channel. time_pulses fills everything of a Stamp but record, channel, method
/// and pulse; it returns one Stamp a Pulse, in order, and then those of further pulses that the method itself
/// has found, in order of time. Pulses of one trace come together so that overlapping ones can be told.
/// bound_s is filled in, for every method, where the channel's template is known. Safe to call from many
/// threads.
struct TimingMethod {
  std::string name;      ///< "constant_fraction"
  std::string settings;  ///< for people: "fraction=0.3"
  std::function<std::vector<Stamp>(const ConditionedTrace&, std::span<const Pulse>)> time_pulses;
};

/// True if the method that these settings name needs ChannelKnowledge::pulse_template.
bool needs_template(const Settings& settings);

/// True if it needs ChannelKnowledge::family.
bool needs_family(const Settings& settings);

/// True if it needs ChannelKnowledge::walk.
bool needs_walk(const Settings& settings);

/// What walk corrections of a channel are learnt against: a stamp of each pulse by the template fit where the
/// channel's template is known, else by the constant fraction of a half. Pulses come with all others of their
/// traces, in order and one trace after the other.
std::vector<Stamp> walk_reference(const ChannelKnowledge& knowledge, std::span<const PulseInTrace> pulses);

/// The walk correction that these settings ask for, learnt from these pulses and their walk_reference().
/// Throws Error as learn_walk() of walk_learning.hpp does.
WalkCorrection learn_walk(const Settings& settings, const ChannelKnowledge& knowledge,
                          std::span<const PulseInTrace> pulses, std::span<const Stamp> reference);

/// Makes the method ready. Setup group: {"method": name, ...options of that method}:
///   constant_fraction: "fraction"
///   leading_edge: "threshold" ("20 mV") or "threshold_over_noise", "walk" ("none", "height",
///     "time_over_threshold", "slew")
///   delayed_fraction: "fraction", "delay" ("0.8 ns")
///   template_family: "fit_baseline", "poor_fit_probability", "components" (0 to 2, of those that were found)
///   template_fit: "fit_baseline", "poor_fit_probability", "find_hidden_pulses"
/// and for the first three "interpolation" ("linear", "cubic", "quintic") and "edge_samples" (0, or an even
/// number from 6 to 128). The method is constant_fraction where none is named. Throws Error for unknown
/// names, for values without sense, and for a template that does not fit the noise's sample interval.
TimingMethod make_timing_method(const Settings& settings, const ChannelKnowledge& knowledge);

/// All names, for help texts and the documents.
std::vector<std::string> timing_method_names();

}  // namespace firstedge
