// The leading edge of one pulse, made ready for the methods that time a crossing of it.
#pragma once

#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"
#include "firstedge/timing/crossing_height.hpp"
#include "firstedge/timing/crossing_weights.hpp"

#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

/// An edge with fewer samples between its 10 % and 90 % instants is flagged undersampled.
inline constexpr double fewest_edge_samples = 3;

/// The curve through the samples whose crossing is taken: an interpolation (edge_samples 0), or a quintic
/// fitted by least squares to that many samples, an even number of at least 6, around the crossing (where
/// these are not all there, or their quintic does not cross, the interpolation stands in).
struct EdgeCurve {
  Interpolation interpolation = Interpolation::quintic;
  std::size_t edge_samples = 0;

  /// Standard uncertainty of a crossing from the curve itself, in units of the 10-90 % duration of an edge
  /// with that many samples. It is the root mean square, over all phases of the samples and fractions of 0.2
  /// to 0.6, of the error on noiseless edges of band-limited pulses (tests/unit/timing), and falls with the
  /// order of the curve.
  double relative_error(double samples_in_transition) const;
};

/// A stamp whose level stands nearer than this to the baseline or to the top, in standard deviations of the
/// noise, is flagged low_signal: noise then takes the crossing off the edge.
inline constexpr double least_room_over_noise = 2;

/// Where a curve crosses a level. value: the curve at that position as weights of the samples.
/// room_over_noise: from the level to the nearer end of the edge, in standard deviations of the noise.
struct EdgeCrossing {
  double position = 0;
  double slope_per_sample = 0;
  SampleWeights value;
  double room_over_noise = std::numeric_limits<double>::infinity();
};

/// The crossing of `level` between samples before and before + 1 of values, which must bracket it.
/// transition_samples: 10-90 % duration of the edge. The slope is not that of the curve at the crossing,
/// which the noise of two samples would move by tenths, but of a quintic fitted to as few samples around it
/// as give it to 6 % in the noise, 1.8 transitions at most (of a cubic to 1.3 transitions in much noise): the
/// uncertainty of a time is noise over slope, and holds only as well as the slope does.
std::optional<EdgeCrossing> cross(std::span<const double> values, std::size_t before, double level,
                                  const EdgeCurve& curve, double noise_rms, double transition_samples);

/// The samples around a pulse turned positive going, its height, and where its edge crosses a level. Samples
/// and positions are counted from the start of volts(). The trace, the pulse and the noise must outlive it.
///
/// Clipped samples: no curve of a crossing goes through one, and a time or a height that hangs on one is not
/// given, since the true voltage there is not known.
class PulseEdge {
 public:
  /// samples_after: how many samples after the region of the pulse are looked at as well.
  PulseEdge(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
            const EdgeCurve& curve, std::size_t samples_after = 0);

  std::span<const double> volts() const {
    return turned_.empty() ? std::span(trace_->volts).subspan(offset_, samples_) : std::span(turned_);
  }
  double height_v() const { return height_v_; }
  std::size_t start() const { return start_; }  ///< first sample of the pulse's region
  std::size_t peak() const { return peak_; }    ///< its largest sample
  const EdgeCurve& curve() const { return curve_; }
  const SampleNoise& noise() const { return noise_; }
  /// 10-90 % duration between straight lines through the samples; NaN if the edge is not whole.
  double transition_samples() const { return transition_samples_; }

  /// The same with a height that was found elsewhere, its weights those of samples of the trace (for a pulse
  /// whose own top is clipped).
  PulseEdge with_height(const PeakHeight& height_on_trace) const;

  /// Where the leading edge crosses level_v: the crossing that joins on to the first rise through half the
  /// height (of the largest sample), so that noise on the baseline and on the top is not taken for the edge.
  /// Nothing if the edge does not cross it between two samples that are not clipped.
  std::optional<EdgeCrossing> crossing(double level_v) const;

  /// Weights of samples of volts() as weights of samples of the trace; those of the height stand so already.
  SampleWeights on_trace(const SampleWeights& weights) const { return weights.shifted(offset_); }
  const SampleWeights& height_on_trace() const { return height_on_trace_; }
  /// True if one of the samples that these weights (of samples of the trace) need is clipped.
  bool hangs_on_clipped(const SampleWeights& on_trace) const;

  /// A stamp with everything filled but time, uncertainty and slew; it carries the flag not_timed.
  Stamp untimed() const;

  /// The stamp of a crossing. quantity: the curve minus its level, as weights of the samples of the trace;
  /// its deviation over the slope is the uncertainty of the time. Not timed if it hangs on clipped samples.
  Stamp timed(const EdgeCrossing& crossing, const SampleWeights& quantity) const;

 private:
  std::optional<std::size_t> bracket(double level_v) const;
  SampleRange unclipped_around(std::size_t sample) const;
  double edge_samples() const;
  double position_of(double level_v, Interpolation interpolation) const;

  const ConditionedTrace* trace_;
  const Pulse* pulse_;
  SampleNoise noise_;
  EdgeCurve curve_;
  std::size_t offset_ = 0, samples_ = 0;  ///< of volts() in the trace
  std::size_t start_ = 0;
  std::size_t peak_ = 0;
  std::vector<double> turned_;       ///< volts(), of a negative pulse
  std::optional<std::size_t> half_;  ///< the sample before the first rise through half the height
  double transition_samples_ = not_known;
  double edge_samples_ = not_known;  ///< 10 % to 90 % of the height, on the curve
  double height_v_ = 0;
  SampleWeights height_on_trace_;
};

}  // namespace firstedge
