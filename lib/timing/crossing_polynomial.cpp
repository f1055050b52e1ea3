#include "firstedge/timing/crossing_polynomial.hpp"

#include <cassert>

namespace firstedge {

LocalPolynomial::LocalPolynomial(std::span<const double> volts, std::size_t first, std::size_t count,
                                 int degree)
    : first_(first),
      count_(count),
      degree_(degree),
      basis_(count <= most_ready_points ? ready_gram_basis(count) : gram_basis(count)) {
  assert(degree >= 0 && degree <= highest_degree && static_cast<std::size_t>(degree) < count);
  assert(first + count <= volts.size());
  if (count <= most_ready_points) rows_ = ready_gram_rows(count);
  for (std::size_t k = 0; k < count; ++k) {
    const Terms p = values_at_sample(k);
    for (std::size_t j = 0; j < p.size(); ++j) coefficients_[j] += p[j] * volts[first + k];
  }
  for (int j = 0; j <= degree; ++j) coefficients_[j] /= basis_.norm[j];
}

LocalPolynomial::Terms LocalPolynomial::slopes(double position) const {
  const double u = from_middle(position);
  const Terms p = values(position);
  Terms slope{0, 1};
  for (int j = 1; j < degree_; ++j) slope[j + 1] = u * slope[j] + p[j] - basis_.recurrence[j] * slope[j - 1];
  return slope;
}

double LocalPolynomial::sum(const Terms& terms) const {
  double sum = 0;
  for (int j = 0; j <= degree_; ++j) sum += coefficients_[j] * terms[j];
  return sum;
}

LocalPolynomial::Derivatives LocalPolynomial::derivatives(double position) const {
  const double u = from_middle(position);
  const Terms slope = slopes(position);
  Terms bend{0, 0};
  for (int j = 1; j < degree_; ++j)
    bend[j + 1] = u * bend[j] + 2 * slope[j] - basis_.recurrence[j] * bend[j - 1];
  return {.slope = sum(slope), .bend = sum(bend)};
}

SampleWeights LocalPolynomial::weights(double position, int derivative) const {
  Terms wanted = terms(position, derivative);
  for (int j = 0; j <= degree_; ++j) wanted[j] /= basis_.norm[j];
  return SampleWeights::of_samples(first_, count_, [&](std::size_t k) {
    const Terms p = values_at_sample(k);
    double weight = 0;
    for (int j = 0; j <= degree_; ++j) weight += wanted[j] * p[j];
    return weight;
  });
}

LocalPolynomial::SlopeInNoise LocalPolynomial::slope_in_noise(double position) const {
  const Terms slope = slopes(position);
  double gain2 = 0;
  for (int j = 0; j <= degree_; ++j) gain2 += slope[j] * slope[j] / basis_.norm[j];
  return {.slope = sum(slope), .noise_gain = std::sqrt(gain2)};
}

}  // namespace firstedge
