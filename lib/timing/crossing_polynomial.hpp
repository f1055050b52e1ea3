// Local polynomial: a least-squares polynomial through a few neighbouring samples, and what each sample adds
// to it.
#pragma once

#include "firstedge/timing/crossing_weights.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <span>

namespace firstedge {

/// A polynomial of low degree fitted to the samples [first, first + count) with equal weights. Positions are
/// counted in samples like the samples themselves. With count = degree + 1 it interpolates.
///
/// Built on the polynomials that are orthogonal over equally spaced points (Gram polynomials): no system of
/// equations is solved and wide stretches stay exact to rounding. Source: the three-term recurrence of
/// discrete Chebyshev polynomials, NIST Digital Library of Mathematical Functions, 18.22(i) (Hahn polynomials
/// with alpha = beta = 0), shifted to the middle of the stretch.
class LocalPolynomial {
 public:
  static constexpr int highest_degree = 5;

  /// Needs 0 <= degree <= highest_degree and degree < count, and the stretch inside volts.
  LocalPolynomial(std::span<const double> volts, std::size_t first, std::size_t count, int degree);

  double value(double position) const { return sum(values(position)); }
  double slope(double position) const { return sum(slopes(position)); }
  double bend(double position) const;  ///< second derivative
  /// The weights of value (derivative 0) or slope (derivative 1) at a position.
  SampleWeights weights(double position, int derivative) const;

  /// Standard deviation of value (0) or slope (1) at a position for white noise of standard deviation 1.
  double noise_gain(double position, int derivative) const;
  /// The share of the orthogonal polynomial of degree j in the samples, in units of a sample: in white noise
  /// of standard deviation s it has the standard deviation s.
  double strength(int j) const { return coefficients_[j] * std::sqrt(norm_[j]); }

  double first() const { return static_cast<double>(first_); }
  double last() const { return static_cast<double>(first_ + count_ - 1); }

 private:
  using Terms = std::array<double, highest_degree + 1>;
  double from_middle(double position) const;
  Terms values(double position) const;  ///< of the orthogonal polynomials
  Terms slopes(double position) const;
  Terms terms(double position, int derivative) const {
    return derivative == 0 ? values(position) : slopes(position);
  }
  double sum(const Terms& terms) const;  ///< times the coefficients

  std::size_t first_, count_;
  int degree_;
  Terms recurrence_{};    ///< p[j+1] = u p[j] - recurrence[j] p[j-1]
  Terms norm_{};          ///< sum of p[j]^2 over the stretch
  Terms coefficients_{};  ///< of p[j]
};

}  // namespace firstedge
