// Sample weights: a quantity as a weighted sum of samples, and the variance that the noise gives it.
#pragma once

#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"
#include "firstedge/timing/channel_noise.hpp"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// sum over k of weights[k] * sample[first + k]. Everything a timing method takes from a trace (a value
/// between samples, a pulse height, a level) is one of these to first order, so that the noise of their
/// combination follows with all correlations.
///
/// Up to most_inside of them stand in the object itself: most quantities need no memory.
class SampleWeights {
 public:
  static constexpr std::size_t most_inside = 32;

  SampleWeights() = default;
  SampleWeights(std::size_t first, std::span<const double> weights) { add(first, weights, 1); }

  /// weight_of(k) for each k below count, of sample first + k.
  template <class WeightOf>
  static SampleWeights of_samples(std::size_t first, std::size_t count, WeightOf&& weight_of) {
    SampleWeights made;
    double* at = made.widened_to(first, first + count);
    for (std::size_t k = 0; k < count; ++k) at[k] = weight_of(k);
    return made;
  }

  /// Adds weight to one sample; the stretch grows to hold it.
  void add(std::size_t sample, double weight) { add(sample, std::span(&weight, 1), 1); }
  /// Adds factor * other.
  void add(const SampleWeights& other, double factor) { add(other.first_, other.weights(), factor); }
  void add(const Stencil& stencil, double factor) {
    add(stencil.first, std::span(stencil.weights).first(stencil.size), factor);
  }

  /// The same weights of the samples `by` further on.
  SampleWeights shifted(std::size_t by) const;

  std::size_t first() const { return first_; }
  std::span<const double> weights() const {
    return {outside_.empty() ? inside_.data() : outside_.data(), size_};
  }
  /// 1 for a value, 0 for a difference: what a shift of the baseline does to the quantity.
  double sum() const;

 private:
  void add(std::size_t first, std::span<const double> weights, double factor);
  double* widened_to(std::size_t first, std::size_t last);

  std::size_t first_ = 0, size_ = 0;
  std::array<double, most_inside> inside_{};
  std::vector<double> outside_;  ///< all of them, where they are more
};

/// The noise of one sample as the timing room counts it: the covariance of the model and the quantisation.
/// A model learnt from samples (samples_used > 0) holds the quantisation already, unless the trace was so
/// quiet that it could not show (then step_v^2/12 is the floor of the variance); a model that was given
/// (samples_used == 0) gets step_v^2/12 added. Source of step_v^2/12: the variance of a uniform distribution
/// one step wide, JCGM 100:2008, 4.3.7.
class SampleNoise {
 public:
  /// The noise must outlive it.
  SampleNoise(const ChannelNoise& noise, const ConditionedTrace& trace);
  SampleNoise(ChannelNoise&& noise, const ConditionedTrace& trace) = delete;

  /// Standard deviation of one sample, V.
  double deviation_v() const { return deviation_v_; }
  /// Variance (V^2) of a weighted sum w of samples from their noise alone: w' C w.
  double variance_of_samples_v2(const SampleWeights& quantity) const;
  /// Variance (V^2) of a weighted sum of conditioned samples (counted in their trace): each is a sample less
  /// the baseline, so that the sum w of the weights is also the weight of the level.
  ///
  /// A level that is the mean of a window carries the noise of the window's samples, which slow noise and
  /// lines share with the pulse: with a learnt model, the variance is that of all these samples together. It
  /// is raised by as much as the samples of the window scatter more than the model says, and by what rounding
  /// leaves in their mean. A trace that says its level is less sure than that by more than level_surprise (it
  /// drifts, say) is believed; so it is where the model was given or the window is not known. Away from the
  /// middle of the window, a fitted slope adds its uncertainty.
  double variance_v2(const SampleWeights& quantity) const;

  /// What a trace says of its own level differs by chance, and for noise of a band by up to 2.5; more is a
  /// surprise.
  static constexpr double level_surprise = 4;

 private:
  double variance_with_level_v2(const SampleWeights& quantity, double of_samples_v2) const;

  const ChannelNoise* noise_;
  double variance_v2_ = 0;
  double deviation_v_ = 0;
  double level_uncertainty_v_ = 0;
  double level_rms_v_ = 0;          ///< of the samples of its window
  double level_step_v_ = 0;         ///< one count
  double slope_uncertainty_v_ = 0;  ///< of the level, a sample away from the middle
  SampleRange level_window_;
};

}  // namespace firstedge
