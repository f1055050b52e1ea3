// Mean traces of a delay measurement: what a pulse looked like before and after the thing that delays it.
#pragma once

#include "firstedge/core/noise_model.hpp"

#include <complex>
#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

/// What all records of one channel have in common.
struct AverageHead {
  std::string name;
  double interval_s = 0;
  double first_sample_s = 0;  ///< from the trigger
  NoiseModel noise;           ///< of one record
};

/// The mean over records of one channel, baseline taken away, volts of shape (samples,).
struct MeanTrace {
  AverageHead head;
  std::vector<double> volts;
  std::size_t records = 0;

  double interval_s() const { return head.interval_s; }
  double time_s(double sample) const { return head.first_sample_s + sample * head.interval_s; }
  std::size_t size() const { return volts.size(); }
};

/// Variance per sample (V^2) of the noise of the mean at the lines 0 ... padded/2 of a transform of padded
/// samples: the power of a transform of n samples of that noise is n times it. Not below 0.
std::vector<double> mean_noise_power(const MeanTrace& mean, std::size_t padded);

/// Weights, 0 to 1, of the lines 0 ... padded/2 of a transform of padded samples: 1 where the signal stands
/// far above the noise of the mean, 0 where it is below half of what is there, 1 - 2 noise/power between, the
/// power smoothed over seventeen lines of the record's own transform. A mean without noise has 1 everywhere.
std::vector<double> signal_band(const MeanTrace& mean, std::size_t padded);

/// The records are dealt out to this many groups in turn, so that leaving one out tells how far a figure
/// moves.
inline constexpr std::size_t most_groups = 16;

/// Sums of the traces of one channel, group by group.
class TraceAverage {
 public:
  /// Throws Error for an interval that is not positive or fewer than 16 samples.
  TraceAverage(AverageHead head, std::size_t samples);

  /// volts of shape (samples,) (assert), all finite. shift: moved earlier by as many samples; where that
  /// leaves none, the end sample stands in.
  void add(std::span<const double> volts, std::ptrdiff_t shift = 0);

  std::size_t records() const { return records_; }
  std::size_t samples() const { return samples_; }
  const AverageHead& head() const { return head_; }
  /// Groups that hold a record.
  std::size_t groups() const;
  MeanTrace mean() const { return mean_without(most_groups); }
  /// The mean over the records of all other groups; there must be one (assert).
  MeanTrace mean_without(std::size_t group) const;

 private:
  AverageHead head_;
  std::size_t samples_ = 0, records_ = 0;
  std::vector<std::vector<double>> sums_;  // by group
};

/// Mean traces before and after.
struct PairOfMeans {
  MeanTrace before, after;
};

/// Sums over records of |X|^2, |Y|^2 and X* Y of whole traces, shapes (samples/2 + 1,).
struct PairSpectra {
  std::size_t records = 0, samples = 0;
  std::vector<double> before, after;
  std::vector<std::complex<double>> cross;
};

/// Gathers records of two channels that saw the same pulse. All figures taken from it rest on one relation,
/// after = h * before, which a mean over records keeps whatever the pulses' heights and times, as long as
/// both traces of a record are shifted alike.
class PairAverage {
 public:
  /// Throws Error as TraceAverage, and where the intervals differ by more than 1e-9 of themselves.
  PairAverage(const AverageHead& before, const AverageHead& after, std::size_t samples);

  void add(std::span<const double> before_v, std::span<const double> after_v, std::ptrdiff_t shift = 0);

  const TraceAverage& before() const { return before_; }
  const TraceAverage& after() const { return after_; }
  const PairSpectra& spectra() const { return spectra_; }
  PairOfMeans means() const { return {before_.mean(), after_.mean()}; }
  PairOfMeans means_without(std::size_t group) const {
    return {before_.mean_without(group), after_.mean_without(group)};
  }

 private:
  TraceAverage before_, after_;
  PairSpectra spectra_;
};

}  // namespace firstedge
