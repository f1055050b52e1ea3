// Template trace: the samples of one trace as the template fit takes them, and where its pulses may be.
#pragma once

#include "firstedge/core/pulse.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/timing/template_pulse.hpp"

#include <cstddef>
#include <optional>
#include <vector>

namespace firstedge {

/// A pulse before its fit: where it may be, as times in samples.
struct PulsePlace {
  double start = 0;  ///< crossing of the template's reference fraction before the peak
  double first = 0;  ///< the time is not before it
  double last = 0;   ///< nor after it
};

/// A view of the trace with the pulses taken away that were told to it. Trace and columns must outlive it.
class TemplateTrace {
 public:
  TemplateTrace(const TemplateColumns& columns, const ConditionedTrace& trace)
      : columns_(columns), trace_(trace) {}

  std::size_t samples() const { return trace_.volts.size(); }
  /// False for a trace whose interval is off the template's noise model by more than 1e-5 of itself: over the
  /// ten samples around an edge 1e-4 of a sample.
  bool same_interval() const;

  PulsePlace place_of(const Pulse& pulse) const;

  /// All samples that a template with its time between the two reaches, none from `end` on, as if pulses of
  /// this polarity were positive.
  PulseSamples samples_around(int polarity, double first_time, double last_time, std::size_t end) const;

  /// The same of the windows that fits from these times see (TemplateColumns), so that nothing of a tail
  /// stands in them that the template does not hold.
  PulseSamples samples_in_windows(int polarity, double first_time, double last_time, std::size_t end) const;

  /// From here on the trace is seen without this pulse. height_v is signed.
  void take_away(double time_samples, double height_v) { taken_.push_back({time_samples, height_v}); }
  /// Undoes the latest of these, or all.
  void put_back() { taken_.pop_back(); }
  void put_all_back() { taken_.clear(); }

  /// From here on the samples beside clipped ones are left out as well as far as this pulse stands within
  /// three standard deviations of the limit there: which of them is clipped is decided by noise, and those
  /// that are not have been chosen for being low. (Left in, they move the times of pulses that are just
  /// clipped by up to 4 % of their uncertainty.) Where the pulse changes by more than ten standard deviations
  /// from sample to sample, that does not matter and they stay. True if there are samples to leave out.
  bool leave_out_beside_clipped(const FittedPulse& fitted, int polarity, double noise_v);

  /// The template's support around a time, in samples.
  double support_first() const { return columns_.shape().first_s() / columns_.interval_s(); }
  double support_last() const { return columns_.shape().last_s() / columns_.interval_s(); }
  double transition() const { return columns_.shape().transition_duration_s() / columns_.interval_s(); }

 private:
  struct Taken {
    double time_samples = 0, height_v = 0;
  };
  PulseSamples samples_between(int polarity, double from, double to, std::size_t end) const;
  double volts_at(std::size_t sample, int polarity) const;
  double crossing_before(const Pulse& pulse) const;
  std::optional<double> limit_of(const SampleRange& clipped, int polarity) const;
  double reach() const;

  const TemplateColumns& columns_;
  const ConditionedTrace& trace_;
  std::vector<Taken> taken_;
  std::vector<SampleRange> beside_clipped_;
};

}  // namespace firstedge
