// Sample weights: a quantity as a weighted sum of samples, and the variance that the noise gives it.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

/// sum over k of weights[k] * sample[first + k]. Everything a timing method takes from a trace (a value
/// between samples, a pulse height, a level) is one of these to first order, so that the noise of their
/// combination follows with all correlations.
class SampleWeights {
 public:
  /// Adds weight to one sample; the stretch grows to hold it.
  void add(std::size_t sample, double weight);
  /// Adds factor * other.
  void add(const SampleWeights& other, double factor);
  void add(const Stencil& stencil, double factor);

  /// The same weights of the samples `by` further on.
  SampleWeights shifted(std::size_t by) const;

  std::size_t first() const { return first_; }
  const std::vector<double>& weights() const { return weights_; }
  /// 1 for a value, 0 for a difference: what a shift of the baseline does to the quantity.
  double sum() const;

 private:
  std::size_t first_ = 0;
  std::vector<double> weights_;
};

/// The noise of one sample as the timing room counts it: the covariance of the model and the quantisation.
/// A model learnt from samples (samples_used > 0) holds the quantisation already, unless the trace was so
/// quiet that it could not show (then step_v^2/12 is the floor of the variance); a model that was given
/// (samples_used == 0) gets step_v^2/12 added. Source of step_v^2/12: the variance of a uniform distribution
/// one step wide, JCGM 100:2008, 4.3.7.
class SampleNoise {
 public:
  /// The model must outlive it.
  SampleNoise(const NoiseModel& model, const ConditionedTrace& trace);
  SampleNoise(NoiseModel&& model, const ConditionedTrace& trace) = delete;

  /// Standard deviation of one sample, V.
  double deviation_v() const { return deviation_v_; }
  /// Variance (V^2) of a weighted sum: w' C w from the noise, plus (sum w)^2 u^2(baseline).
  double variance_v2(const SampleWeights& quantity) const;

 private:
  const NoiseModel* model_;
  double variance_v2_ = 0;
  double deviation_v_ = 0;
  double baseline_uncertainty_v_ = 0;
};

}  // namespace firstedge
