// Learning: what must be known of each channel before its pulses can be stamped, taken from the first records
// of the run.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"
#include "firstedge/signal/conditioning.hpp"
#include "firstedge/timing/pulse_search.hpp"
#include "firstedge/timing/shape_family.hpp"
#include "firstedge/timing/walk_correction.hpp"

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace firstedge {

/// A channel's Setup turned into options, and what was learnt with them.
struct LearntChannel {
  std::string name, sensor;
  double load_ohm = 50;
  ConditioningOptions conditioning;
  SearchOptions search;
  std::vector<Settings> timing;
  std::optional<double>
      given_noise_v;      ///< Setup group "noise": {"rms": "0.4 mV"}; absent, the noise is learnt
  double interval_s = 0;  ///< of the first trace met; noise holds at this interval
  NoiseModel noise;
  std::shared_ptr<const PulseTemplate> pulse_template;  ///< null when none was needed and none could be built
  std::uint64_t records_learnt_from = 0;
  std::uint64_t pulses_learnt_from = 0;
  std::string template_remark;                ///< why there is no template, or where it came from
  std::shared_ptr<const ShapeFamily> family;  ///< null when none was needed or there is no template
  /// For each method of `timing` the walk correction it asks for, null where it asks for none or none could
  /// be learnt; and why, or from what.
  std::vector<std::shared_ptr<const WalkCorrection>> walks;
  std::vector<std::string> walk_remarks;
};

/// Learns every channel of the run from the records that the reader gives next, at most
/// setup.learning_records (fewer if they would take more than 64 MiB as doubles). Templates given by channel
/// name are used in place of building them. A channel without enough pulses for a template or a walk
/// correction stays without one: methods that need it then flag its stamps not_timed. Throws Error when a
/// channel of the Setup is not in the run, when no trace of a channel was read, or when methods need
/// templates (or walk corrections) and not one channel could give any.
std::vector<LearntChannel> learn_channels(RecordReader& reader, const Setup& setup,
                                          const std::vector<PulseTemplate>& given);

/// The same, but a run of which no template or no walk correction could be learnt is no error: the methods
/// that need them flag their stamps not_timed.
std::vector<LearntChannel> learn_channels_as_far_as_possible(RecordReader& reader, const Setup& setup);

/// The same Setup without timing methods, for looks at a run that stamp nothing and so need no template.
Setup without_methods(const Setup& setup);

/// The noise model on another time base: the autocovariance read at the new lags (linear between the old
/// ones).
NoiseModel at_interval(const NoiseModel& noise, double interval_s);

}  // namespace firstedge
