#include "firstedge/timing/crossing_weights.hpp"

#include "firstedge/signal/level_statistics.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace firstedge {

// The place of sample `first`, once the stretch holds the samples up to `last`.
double* SampleWeights::widened_to(std::size_t first, std::size_t last) {
  if (size_ == 0) first_ = first;
  const std::size_t before = first_ - std::min(first, first_);
  const std::size_t size = std::max(first_ + size_, last) - (first_ - before);
  if (size > most_inside && outside_.empty()) outside_.assign(inside_.begin(), inside_.end());
  if (size > outside_.size() && !outside_.empty()) outside_.resize(size, 0.0);
  double* own = outside_.empty() ? inside_.data() : outside_.data();
  if (before > 0) {
    std::copy_backward(own, own + size_, own + size_ + before);
    std::fill(own, own + before, 0.0);
  }
  first_ -= before;
  size_ = size;
  return own + (first - first_);
}

void SampleWeights::add(std::size_t first, std::span<const double> weights, double factor) {
  if (weights.empty()) return;
  double* at = widened_to(first, first + weights.size());
  for (std::size_t k = 0; k < weights.size(); ++k) at[k] += factor * weights[k];
}

SampleWeights SampleWeights::shifted(std::size_t by) const {
  SampleWeights moved = *this;
  moved.first_ += by;
  return moved;
}

double SampleWeights::sum() const {
  const std::span<const double> all = weights();
  return std::accumulate(all.begin(), all.end(), 0.0);
}

SampleNoise::SampleNoise(const ChannelNoise& noise, const ConditionedTrace& trace) : noise_(&noise) {
  const NoiseModel& model = noise.model();
  const double quantisation_v2 = trace.step_v * trace.step_v / 12;
  const double measured_v2 = model.covariance_v2(0);
  variance_v2_ =
      model.samples_used > 0 ? std::max(measured_v2, quantisation_v2) : measured_v2 + quantisation_v2;
  deviation_v_ = std::sqrt(variance_v2_);
  const double level = trace.baseline_v.uncertainty;
  level_uncertainty_v_ = std::isfinite(level) && level > 0 ? level : 0;
  slope_uncertainty_v_ = trace.baseline_slope_uncertainty_v_per_s * trace.interval_s;
  level_rms_v_ = trace.baseline_rms_v;
  level_step_v_ = trace.step_v;
  level_window_ = trace.baseline_window;
}

double SampleNoise::variance_of_samples_v2(const SampleWeights& quantity) const {
  const std::span<const double> w = quantity.weights();
  double sum = 0;
  for (std::size_t lag = 0; lag < w.size(); ++lag) {
    const double covariance = lag == 0 ? variance_v2_ : 2 * noise_->model().covariance_v2(lag);
    if (covariance == 0) continue;
    double products = 0;
    for (std::size_t k = lag; k < w.size(); ++k) products += w[k] * w[k - lag];
    sum += covariance * products;
  }
  return std::max(sum, 0.0);
}

// The samples of the quantity and those of the window together; see the header.
double SampleNoise::variance_with_level_v2(const SampleWeights& quantity, double of_samples_v2) const {
  const auto n = static_cast<double>(level_window_.size());
  double level_v2 = variance_v2_ / n + noise_->shared_in_sum(level_window_.size()) / (n * n);
  const double more = variance_v2_ > 0 ? std::max(level_rms_v_ * level_rms_v_ / variance_v2_, 1.0) : 1.0;
  level_v2 = more * std::max(level_v2, 0.0) + std::pow(rounding_uncertainty(level_step_v_, level_rms_v_), 2);
  const double weight = quantity.sum();
  const double own_v2 = level_uncertainty_v_ * level_uncertainty_v_;
  if (own_v2 > level_surprise * level_surprise * level_v2) return of_samples_v2 + weight * weight * own_v2;

  // Covariances of all lags below one; lag 0 with the variance as it is here.
  const double more_v2 = variance_v2_ - noise_->model().covariance_v2(0);
  const auto up_to = [&](std::size_t lag) { return lag == 0 ? 0 : noise_->sum_below(lag) + more_v2; };
  double shared_v2 = 0;  // covariance of the quantity with the sum of the window
  for (std::size_t i = 0; i < quantity.weights().size(); ++i) {
    const std::size_t sample = quantity.first() + i;
    double with_window = 0;
    if (sample < level_window_.first) {
      with_window = up_to(level_window_.last - sample) - up_to(level_window_.first - sample);
    } else if (sample < level_window_.last) {
      with_window =
          up_to(sample - level_window_.first + 1) + up_to(level_window_.last - sample) - variance_v2_;
    } else {
      with_window = up_to(sample - level_window_.first + 1) - up_to(sample - level_window_.last + 1);
    }
    shared_v2 += quantity.weights()[i] * with_window;
  }
  return std::max(of_samples_v2 + weight * (weight * level_v2 - 2 * shared_v2 / n), 0.0);
}

double SampleNoise::variance_v2(const SampleWeights& quantity) const {
  const double of_samples_v2 = variance_of_samples_v2(quantity);
  const double weight = quantity.sum();
  const double middle = 0.5 * static_cast<double>(level_window_.first + level_window_.last);
  const double from_middle =
      static_cast<double>(quantity.first()) + 0.5 * static_cast<double>(quantity.weights().size()) - middle;
  const double slope_v = weight * slope_uncertainty_v_ * from_middle;
  const bool known_together = noise_->model().samples_used > 0 && level_window_.size() > 0;
  const double with_level_v2 = known_together ? variance_with_level_v2(quantity, of_samples_v2)
                                              : of_samples_v2 + std::pow(weight * level_uncertainty_v_, 2);
  return with_level_v2 + slope_v * slope_v;
}

}  // namespace firstedge
