// Pulse search: where in a conditioned trace the pulses are.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/signal/conditioned_trace.hpp"

#include <optional>
#include <utility>
#include <vector>

namespace firstedge {

struct SearchOptions {
  enum class Polarity { positive, negative, either };
  Polarity polarity = Polarity::either;
  double threshold_over_noise = 6;    ///< in standard deviations of the noise
  std::optional<double> threshold_v;  ///< replaces threshold_over_noise
  std::size_t most_pulses = 16;  ///< the first ones kept; the last kept is flagged piled_up if more follow
  double dead_time_s = 0;        ///< pulses closer than this are one
  std::optional<std::pair<double, double>>
      window_s;  ///< only pulses that start in it, seconds from the trigger
};

/// Setup group "search": {"polarity": "either", "threshold": "20 mV" | absent, "threshold_over_noise": 6,
/// "most_pulses": 16, "dead_time": "0 s", "window": [..]}.
SearchOptions search_options(const Settings& settings);

/// Pulses in order of time. load_ohm turns the integral into charge.
std::vector<Pulse> find_pulses(const ConditionedTrace& trace, const NoiseModel& noise, double load_ohm,
                               const SearchOptions& options);

}  // namespace firstedge
