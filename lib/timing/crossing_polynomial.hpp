// Local polynomial: a least-squares polynomial through a few neighbouring samples, and what each sample adds
// to it.
#pragma once

#include "firstedge/timing/crossing_weights.hpp"
#include "firstedge/timing/gram_polynomials.hpp"

#include <cmath>
#include <cstddef>
#include <span>

namespace firstedge {

/// A polynomial of low degree fitted to the samples [first, first + count) with equal weights. Positions are
/// counted in samples like the samples themselves. With count = degree + 1 it interpolates.
///
/// Built on the polynomials that are orthogonal over equally spaced points (gram_polynomials.hpp): no system
/// of equations is solved and wide stretches stay exact to rounding.
class LocalPolynomial {
 public:
  static constexpr int highest_degree = highest_gram_degree;

  /// Needs 0 <= degree <= highest_degree and degree < count, and the stretch inside volts.
  LocalPolynomial(std::span<const double> volts, std::size_t first, std::size_t count, int degree);

  double value(double position) const { return sum(values(position)); }
  double slope(double position) const { return sum(slopes(position)); }
  /// The first and the second derivative at a position.
  struct Derivatives {
    double slope, bend;
  };
  Derivatives derivatives(double position) const;
  double bend(double position) const { return derivatives(position).bend; }
  /// The weights of value (derivative 0) or slope (derivative 1) at a position.
  SampleWeights weights(double position, int derivative) const;

  /// The slope at a position, and its standard deviation for white noise of standard deviation 1.
  struct SlopeInNoise {
    double slope, noise_gain;
  };
  SlopeInNoise slope_in_noise(double position) const;
  /// The share of the orthogonal polynomial of degree j in the samples, in units of a sample: in white noise
  /// of standard deviation s it has the standard deviation s.
  double strength(int j) const { return coefficients_[j] * std::sqrt(basis_.norm[j]); }

  double first() const { return static_cast<double>(first_); }
  double last() const { return static_cast<double>(first_ + count_ - 1); }

 private:
  using Terms = GramTerms;
  double from_middle(double position) const { return position - static_cast<double>(first_) - basis_.middle; }
  Terms values(double position) const { return basis_.at(from_middle(position), degree_); }
  Terms slopes(double position) const;
  Terms terms(double position, int derivative) const {
    return derivative == 0 ? values(position) : slopes(position);
  }
  Terms values_at_sample(std::size_t k) const {  ///< the k-th of the stretch
    return rows_.empty() ? basis_.at(static_cast<double>(k) - basis_.middle, degree_) : rows_[k];
  }
  double sum(const Terms& terms) const;  ///< times the coefficients

  std::size_t first_, count_;
  int degree_;
  GramBasis basis_;
  std::span<const Terms> rows_;  ///< its values at the samples, where these stand ready
  Terms coefficients_{};
};

}  // namespace firstedge
