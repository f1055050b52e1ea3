#include "firstedge/timing/crossing_polynomial.hpp"

#include <cassert>

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
    const Terms p = terms(static_cast<double>(first + k), 0);
    for (int j = 0; j <= degree; ++j) coefficients_[j] += p[j] * volts[first + k] / norm_[j];
  }
}

LocalPolynomial::Terms LocalPolynomial::terms(double position, int derivative) const {
  const double u = position - static_cast<double>(first_) - (static_cast<double>(count_) - 1) / 2;
  std::array<Terms, 3> p{};  // p[d][j]: derivative d of polynomial j
  p[0][0] = 1;
  for (int j = 0; j < degree_; ++j) {
    for (int d = 0; d <= derivative; ++d) {
      const double inner = d == 0 ? 0.0 : d * p[d - 1][j];
      const double before = j == 0 ? 0.0 : recurrence_[j] * p[d][j - 1];
      p[d][j + 1] = u * p[d][j] + inner - before;
    }
  }
  return p[derivative];
}

double LocalPolynomial::at(double position, int derivative) const {
  const Terms p = terms(position, derivative);
  double sum = 0;
  for (int j = 0; j <= degree_; ++j) sum += coefficients_[j] * p[j];
  return sum;
}

SampleWeights LocalPolynomial::weights(double position, int derivative) const {
  const Terms wanted = terms(position, derivative);
  SampleWeights weights;
  for (std::size_t k = 0; k < count_; ++k) {
    const Terms p = terms(static_cast<double>(first_ + k), 0);
    double weight = 0;
    for (int j = 0; j <= degree_; ++j) weight += wanted[j] * p[j] / norm_[j];
    weights.add(first_ + k, weight);
  }
  return weights;
}

double LocalPolynomial::noise_gain(double position, int derivative) const {
  const Terms wanted = terms(position, derivative);
  double sum = 0;
  for (int j = 0; j <= degree_; ++j) sum += wanted[j] * wanted[j] / norm_[j];
  return std::sqrt(sum);
}

}  // namespace firstedge
