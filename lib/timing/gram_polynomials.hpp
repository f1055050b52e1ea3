// Gram polynomials: orthogonal over equally spaced points.
#pragma once

#include <array>
#include <cstddef>
#include <span>

namespace firstedge {

inline constexpr int highest_gram_degree = 5;

/// One number a degree; two more that are not used fill a row of eight, which is added as a whole.
using GramTerms = std::array<double, 8>;

/// The polynomials over `count` points, u counted in points from their middle: p[0] = 1, p[1] = u, p[j+1] = u
/// p[j] - recurrence[j] p[j-1]; norm: the sum of p[j]^2 over the points. Source: the three-term recurrence of
/// discrete Chebyshev polynomials, NIST Digital Library of Mathematical Functions, 18.22(i) (Hahn polynomials
/// with alpha = beta = 0), shifted to the middle.
struct GramBasis {
  double middle = 0;  ///< of the points, the first one being 0
  GramTerms recurrence{}, norm{};

  /// p[0] to p[degree] at u.
  constexpr GramTerms at(double u, int degree = highest_gram_degree) const {
    GramTerms p{1, u};
    for (int j = 1; j < degree; ++j) p[j + 1] = u * p[j] - recurrence[j] * p[j - 1];
    return p;
  }
};

constexpr GramBasis gram_basis(std::size_t count) {
  const auto n = static_cast<double>(count);
  GramBasis basis{.middle = (n - 1) / 2};
  basis.norm[0] = n;
  for (int j = 1; j <= highest_gram_degree; ++j) {
    const double j2 = static_cast<double>(j) * j;
    basis.recurrence[j] = j2 * (n * n - j2) / (4 * (4 * j2 - 1));
    basis.norm[j] = basis.norm[j - 1] * basis.recurrence[j];
  }
  return basis;
}

/// Up to so many points everything stands in tables.
inline constexpr std::size_t most_ready_points = 24;

/// gram_basis(count), count up to most_ready_points.
const GramBasis& ready_gram_basis(std::size_t count);
/// What it is at each of its points, shape (count,).
std::span<const GramTerms> ready_gram_rows(std::size_t count);

}  // namespace firstedge
