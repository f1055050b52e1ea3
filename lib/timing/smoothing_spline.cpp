#include "firstedge/timing/smoothing_spline.hpp"

#include "firstedge/core/threads.hpp"
#include "firstedge/core/vector_clones.hpp"

#include <algorithm>
#include <limits>

// Functions that take or return lanes are inlined wherever they are called, so that no call passes any.
#pragma GCC diagnostic ignored "-Wpsabi"

namespace firstedge {
namespace {

constexpr std::size_t band = SplineSums::band;
constexpr std::size_t side_by_side = 8;
using Penalties = std::array<double, side_by_side>;

using Vector =
    double __attribute__((vector_size(side_by_side * sizeof(double)), aligned(alignof(double)), may_alias));
// A number for each penalty.
struct Lanes {
  Vector of{};
};
using LaneRow = std::array<Lanes, band>;

// The penalised products of each penalty, and what becomes of them.
struct EightSplines {
  explicit EightSplines(std::size_t size) : rows(size), inverse(size), coefficients(size) {}
  std::vector<LaneRow> rows;     // the products; then their factors
  std::vector<LaneRow> inverse;  // of them, within the band
  std::vector<Lanes> coefficients;
  Lanes residual2, freedom;
  Lanes failures;  // above 0: not positive definite
};

[[gnu::always_inline]] inline std::size_t reach_of(std::size_t row, std::size_t size) {
  return std::min(band, size - row);
}

// The products and penalty * D'D of third differences (1, -3, 3, -1).
[[gnu::always_inline]] inline void penalise(const SplineSums& sums, const Vector& penalty,
                                            EightSplines& made) {
  constexpr std::array<double, band> difference{1, -3, 3, -1};
  for (std::size_t i = 0; i < made.rows.size(); ++i)
    for (std::size_t k = 0; k < band; ++k) made.rows[i][k].of = Vector{} + sums.products[i][k];
  for (std::size_t first = 0; first + band <= made.rows.size(); ++first)
    for (std::size_t i = 0; i < band; ++i)
      for (std::size_t j = i; j < band; ++j)
        made.rows[first + i][j - i].of += penalty * difference[i] * difference[j];
}

// L D L' of the penalised products (rows[i][k] = element i, i + k): rows[i][0] becomes D, the rest L'.
[[gnu::always_inline]] inline void factorise(EightSplines& made) {
  std::vector<LaneRow>& rows = made.rows;
  Vector failures{};
  for (std::size_t i = 0; i < rows.size(); ++i) {
    failures += rows[i][0].of > 0 ? Vector{} : Vector{} + 1.0;
    const std::size_t reach = reach_of(i, rows.size());
    LaneRow scaled{};
    for (std::size_t k = 1; k < reach; ++k) scaled[k].of = rows[i][k].of / rows[i][0].of;
    for (std::size_t k = 1; k < reach; ++k)
      for (std::size_t m = k; m < reach; ++m) rows[i + k][m - k].of -= scaled[k].of * rows[i][m].of;
    for (std::size_t k = 1; k < reach; ++k) rows[i][k] = scaled[k];
  }
  made.failures.of = failures;
}

[[gnu::always_inline]] inline void solve(const SplineSums& sums, EightSplines& made) {
  const std::size_t size = made.rows.size();
  std::vector<Lanes>& values = made.coefficients;
  for (std::size_t i = 0; i < size; ++i) values[i].of = Vector{} + sums.with_data[i];
  for (std::size_t i = 0; i < size; ++i)
    for (std::size_t k = 1; k < reach_of(i, size); ++k) values[i + k].of -= made.rows[i][k].of * values[i].of;
  for (std::size_t i = size; i-- > 0;) {
    values[i].of /= made.rows[i][0].of;
    for (std::size_t k = 1; k < reach_of(i, size); ++k) values[i].of -= made.rows[i][k].of * values[i + k].of;
  }
}

// The elements of the inverse within the band (K. Takahashi's recursion; M. Hutchinson and F. de Hoog, Numer.
// Math. 47 (1985) 99 use it for this purpose; from memory).
[[gnu::always_inline]] inline void invert(EightSplines& made) {
  const std::size_t size = made.rows.size();
  std::vector<LaneRow>& inverse = made.inverse;
  for (std::size_t i = size; i-- > 0;) {
    const std::size_t reach = reach_of(i, size);
    for (std::size_t k = reach; k-- > 0;) {
      Vector sum = k == 0 ? 1.0 / made.rows[i][0].of : Vector{};
      for (std::size_t m = 1; m < reach; ++m)
        sum -= made.rows[i][m].of * inverse[i + std::min(m, k)][std::max(m, k) - std::min(m, k)].of;
      inverse[i][k].of = sum;
    }
  }
}

// What is left of the samples, and how many of them are free.
[[gnu::always_inline]] inline void judge(const SplineSums& sums, EightSplines& made) {
  const std::size_t size = made.rows.size();
  Vector fitted{}, squares{};
  Vector freedom = Vector{} + static_cast<double>(sums.samples);
  for (std::size_t i = 0; i < size; ++i) {
    const Vector& coefficient = made.coefficients[i].of;
    fitted += coefficient * sums.with_data[i];
    for (std::size_t k = 0; k < reach_of(i, size); ++k) {
      const double times = k == 0 ? 1 : 2;
      freedom -= times * made.inverse[i][k].of * sums.products[i][k];
      squares += times * sums.products[i][k] * coefficient * made.coefficients[i + k].of;
    }
  }
  const Vector residual2 = sums.data2 - 2.0 * fitted + squares;
  made.residual2.of = residual2 < 0 ? Vector{} : residual2;
  made.freedom.of = freedom;
}

FIRSTEDGE_VECTOR_CLONES void make(const SplineSums& sums, const Penalties& penalties, EightSplines& made) {
  penalise(sums, *reinterpret_cast<const Vector*>(penalties.data()), made);
  factorise(made);
  solve(sums, made);
  invert(made);
  judge(sums, made);
}

bool is_fixed(const EightSplines& made, std::size_t lane) {
  return made.failures.of[lane] == 0 && made.freedom.of[lane] > 0;
}

}  // namespace

std::vector<double> cross_validation(const SplineSums& sums, std::span<const double> penalties) {
  std::vector<double> criteria(penalties.size(), std::numeric_limits<double>::infinity());
  by_all_threads((penalties.size() + side_by_side - 1) / side_by_side, [&](std::size_t group) {
    const std::size_t first = group * side_by_side;
    const auto some = penalties.subspan(first, std::min(side_by_side, penalties.size() - first));
    Penalties filled;
    filled.fill(some.back());
    std::copy(some.begin(), some.end(), filled.begin());
    EightSplines made(sums.products.size());
    make(sums, filled, made);
    for (std::size_t lane = 0; lane < some.size(); ++lane) {
      const double freedom = made.freedom.of[lane];
      if (is_fixed(made, lane)) criteria[first + lane] = made.residual2.of[lane] / (freedom * freedom);
    }
  });
  return criteria;
}

SmoothedSpline smoothed(const SplineSums& sums, double penalty) {
  EightSplines made(sums.products.size());
  Penalties alike;
  alike.fill(penalty);
  make(sums, alike, made);
  SmoothedSpline spline;
  spline.is_fixed = is_fixed(made, 0);
  if (!spline.is_fixed) return spline;
  spline.variance = made.residual2.of[0] / made.freedom.of[0];
  for (const Lanes& coefficient : made.coefficients) spline.coefficients.push_back(coefficient.of[0]);
  for (const LaneRow& row : made.inverse)
    spline.inverse.push_back({row[0].of[0], row[1].of[0], row[2].of[0], row[3].of[0]});
  return spline;
}

}  // namespace firstedge
