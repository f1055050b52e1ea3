// The leading edge of one pulse, made ready for the methods that time a crossing of it.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"
#include "firstedge/timing/crossing_height.hpp"
#include "firstedge/timing/crossing_weights.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// An edge with fewer samples between its 10 % and 90 % instants is flagged undersampled.
inline constexpr double fewest_edge_samples = 3;

/// The samples around a pulse turned positive going, its height, and where its edge crosses a level. Samples
/// and positions are counted from the start of volts(). The trace and the pulse must outlive it.
class PulseEdge {
 public:
  /// samples_after: how many samples after the region of the pulse are looked at as well.
  PulseEdge(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
            Interpolation interpolation, std::size_t samples_after = 0);

  std::span<const double> volts() const { return volts_; }
  const PeakHeight& height() const { return height_; }
  std::size_t start() const { return start_; }  ///< first sample of the pulse's region
  std::size_t peak() const { return peak_; }    ///< its largest sample
  Interpolation interpolation() const { return interpolation_; }

  /// Where the leading edge crosses level_v: the crossing that joins on to the first rise through half the
  /// height, so that noise on the baseline and on the top is not taken for the edge. Nothing if the edge does
  /// not cross it.
  std::optional<Crossing> crossing(double level_v) const;

  /// The weights of the curve's value at a position.
  SampleWeights value_weights(double position) const;

  /// A stamp with everything filled but time, uncertainty and slew; it carries the flag not_timed.
  Stamp untimed() const;

  /// The stamp of a crossing. quantity: the curve minus its level, as weights of the samples; its deviation
  /// over the slope is the uncertainty of the time.
  Stamp timed(const Crossing& crossing, const SampleWeights& quantity) const;

 private:
  double transition_samples() const;

  const ConditionedTrace* trace_;
  const Pulse* pulse_;
  SampleNoise noise_;
  Interpolation interpolation_;
  std::size_t offset_ = 0;  ///< of volts_ in the trace
  std::size_t start_ = 0;
  std::size_t peak_ = 0;
  std::vector<double> volts_;
  PeakHeight height_;
  std::optional<std::size_t> half_;  ///< the sample before the first rise through half the height
};

}  // namespace firstedge
