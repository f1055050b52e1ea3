#include "firstedge/timing/crossing_polynomial.hpp"

#include <cassert>
#include <utility>

namespace firstedge {

LocalPolynomial::LocalPolynomial(std::span<const double> volts, std::size_t first, std::size_t count,
                                 int degree)
    : first_(first), count_(count), degree_(degree) {
  assert(degree >= 0 && degree <= highest_degree && static_cast<std::size_t>(degree) < count);
  assert(first + count <= volts.size());
  const auto n = static_cast<double>(count);
  norm_[0] = n;
  for (int j = 1; j <= degree; ++j) {
    const double j2 = static_cast<double>(j) * j;
    recurrence_[j] = j2 * (n * n - j2) / (4 * (4 * j2 - 1));
    norm_[j] = norm_[j - 1] * recurrence_[j];
  }
  for (std::size_t k = 0; k < count; ++k) {
    const Terms p = values(static_cast<double>(first + k));
    for (int j = 0; j <= degree; ++j) coefficients_[j] += p[j] * volts[first + k];
  }
  for (int j = 0; j <= degree; ++j) coefficients_[j] /= norm_[j];
}

double LocalPolynomial::from_middle(double position) const {
  return position - static_cast<double>(first_) - (static_cast<double>(count_) - 1) / 2;
}

LocalPolynomial::Terms LocalPolynomial::values(double position) const {
  const double u = from_middle(position);
  Terms p{1, u};
  for (int j = 1; j < degree_; ++j) p[j + 1] = u * p[j] - recurrence_[j] * p[j - 1];
  return p;
}

LocalPolynomial::Terms LocalPolynomial::slopes(double position) const {
  const double u = from_middle(position);
  const Terms p = values(position);
  Terms slope{0, 1};
  for (int j = 1; j < degree_; ++j) slope[j + 1] = u * slope[j] + p[j] - recurrence_[j] * slope[j - 1];
  return slope;
}

double LocalPolynomial::sum(const Terms& terms) const {
  double sum = 0;
  for (int j = 0; j <= degree_; ++j) sum += coefficients_[j] * terms[j];
  return sum;
}

double LocalPolynomial::bend(double position) const {
  const double u = from_middle(position);
  const Terms slope = slopes(position);
  Terms bend{0, 0};
  for (int j = 1; j < degree_; ++j) bend[j + 1] = u * bend[j] + 2 * slope[j] - recurrence_[j] * bend[j - 1];
  return sum(bend);
}

SampleWeights LocalPolynomial::weights(double position, int derivative) const {
  Terms wanted = terms(position, derivative);
  for (int j = 0; j <= degree_; ++j) wanted[j] /= norm_[j];
  std::vector<double> weights(count_);
  for (std::size_t k = 0; k < count_; ++k) {
    const Terms p = values(static_cast<double>(first_ + k));
    for (int j = 0; j <= degree_; ++j) weights[k] += wanted[j] * p[j];
  }
  return {first_, std::move(weights)};
}

double LocalPolynomial::noise_gain(double position, int derivative) const {
  const Terms wanted = terms(position, derivative);
  double sum = 0;
  for (int j = 0; j <= degree_; ++j) sum += wanted[j] * wanted[j] / norm_[j];
  return std::sqrt(sum);
}

}  // namespace firstedge
