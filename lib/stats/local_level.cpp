#include "firstedge/stats/local_level.hpp"

#include <cassert>
#include <cmath>

namespace firstedge {

LocalLevel::LocalLevel(std::span<const double> relative_variance, double ratio) {
  bool begun = false;
  double level_variance = 0;
  for (const double variance : relative_variance) {
    double gain = 0;
    double weight = 0;
    level_variance += ratio * ratio;
    if (std::isfinite(variance) && variance > 0) {
      if (begun) {
        const double innovation_variance = level_variance + variance;
        gain = level_variance / innovation_variance;
        weight = 1 / std::sqrt(innovation_variance);
        log_determinant_ += std::log(innovation_variance);
        level_variance = gain * variance;
      } else {
        begun = true;
        gain = 1;
        level_variance = variance;
      }
    }
    gain_.push_back(gain);
    weight_.push_back(weight);
  }
}

std::vector<double> LocalLevel::whitened(std::span<const double> column) const {
  assert(column.size() == gain_.size());
  std::vector<double> innovations(column.size(), 0.0);
  double level = 0;
  for (std::size_t t = 0; t < column.size(); ++t) {
    if (gain_[t] == 0 && weight_[t] == 0) continue;  // missing: the column may hold NaN
    const double innovation = column[t] - level;
    innovations[t] = innovation * weight_[t];
    level += gain_[t] * innovation;
  }
  return innovations;
}

// A unit step at k leaves the filter at once by 1 and then by what its gains have not yet taken up.
std::vector<double> LocalLevel::products_with_steps(std::span<const double> whitened) const {
  std::vector<double> products(gain_.size(), 0.0);
  double sum = 0;
  for (std::size_t k = gain_.size(); k-- > 0;) {
    sum = whitened[k] * weight_[k] + (1 - gain_[k]) * sum;
    products[k] = sum;
  }
  return products;
}

std::vector<double> LocalLevel::norms_of_steps() const {
  std::vector<double> norms(gain_.size(), 0.0);
  double sum = 0;
  for (std::size_t k = gain_.size(); k-- > 0;) {
    sum = weight_[k] * weight_[k] + (1 - gain_[k]) * (1 - gain_[k]) * sum;
    norms[k] = sum;
  }
  return norms;
}

}  // namespace firstedge
