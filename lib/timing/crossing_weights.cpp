#include "firstedge/timing/crossing_weights.hpp"

#include <algorithm>
#include <array>
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

double SampleWeights::sum() const {
  return std::accumulate(weights_.begin(), weights_.end(), 0.0);
}

SampleWeights interpolation_weights(std::size_t size, double position, Interpolation interpolation) {
  // Interpolation is linear in the samples, and its widest stencil holds six: the response to each unit
  // sample of a stretch that is wider by two is its weight.
  constexpr std::size_t reach = 4;
  const auto before = static_cast<std::size_t>(std::clamp(std::floor(position), 0.0, double(size - 1)));
  const std::size_t first = before < reach ? 0 : before - reach;
  const std::size_t last = std::min(size, before + reach + 2);
  std::array<double, 2 * reach + 2> unit{};
  const std::span<const double> stretch(unit.data(), last - first);
  SampleWeights weights;
  for (std::size_t k = 0; k < last - first; ++k) {
    unit[k] = 1;
    const double weight = interpolated(stretch, position - static_cast<double>(first), interpolation);
    unit[k] = 0;
    if (weight != 0) weights.add(first + k, weight);
  }
  return weights;
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
