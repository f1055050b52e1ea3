#include "firstedge/timing/crossing_weights.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace firstedge {

void SampleWeights::add(std::size_t sample, double weight) {
  if (weights_.empty()) first_ = sample;
  if (sample < first_) {
    weights_.insert(weights_.begin(), first_ - sample, 0.0);
    first_ = sample;
  }
  if (sample - first_ >= weights_.size()) weights_.resize(sample - first_ + 1, 0.0);
  weights_[sample - first_] += weight;
}

void SampleWeights::add(const SampleWeights& other, double factor) {
  if (other.weights_.empty()) return;
  add(other.first_, 0.0);
  add(other.first_ + other.weights_.size() - 1, 0.0);
  for (std::size_t k = 0; k < other.weights_.size(); ++k)
    weights_[other.first_ - first_ + k] += factor * other.weights_[k];
}

SampleWeights SampleWeights::shifted(std::size_t by) const {
  SampleWeights moved = *this;
  moved.first_ += by;
  return moved;
}

double SampleWeights::sum() const {
  return std::accumulate(weights_.begin(), weights_.end(), 0.0);
}

void SampleWeights::add(const Stencil& stencil, double factor) {
  for (std::size_t i = 0; i < stencil.size; ++i) add(stencil.first + i, factor * stencil.weights[i]);
}

SampleNoise::SampleNoise(const NoiseModel& model, const ConditionedTrace& trace) : model_(&model) {
  const double quantisation_v2 = trace.step_v * trace.step_v / 12;
  const double measured_v2 = model.covariance_v2(0);
  variance_v2_ =
      model.samples_used > 0 ? std::max(measured_v2, quantisation_v2) : measured_v2 + quantisation_v2;
  deviation_v_ = std::sqrt(variance_v2_);
  const double baseline = trace.baseline_v.uncertainty;
  baseline_uncertainty_v_ = std::isfinite(baseline) && baseline > 0 ? baseline : 0;
}

double SampleNoise::variance_v2(const SampleWeights& quantity) const {
  const std::vector<double>& w = quantity.weights();
  double sum = 0;
  for (std::size_t lag = 0; lag < w.size(); ++lag) {
    const double covariance = lag == 0 ? variance_v2_ : 2 * model_->covariance_v2(lag);
    if (covariance == 0) continue;
    double products = 0;
    for (std::size_t k = lag; k < w.size(); ++k) products += w[k] * w[k - lag];
    sum += covariance * products;
  }
  const double baseline_v = quantity.sum() * baseline_uncertainty_v_;
  return std::max(sum, 0.0) + baseline_v * baseline_v;
}

}  // namespace firstedge
