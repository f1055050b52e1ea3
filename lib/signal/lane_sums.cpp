#include "firstedge/signal/lane_sums.hpp"

#include "firstedge/core/vector_clones.hpp"

#include <array>
#include <cassert>
#include <cmath>
#include <limits>

// Functions that return lanes are inlined wherever they are called, so that no call passes any.
#pragma GCC diagnostic ignored "-Wpsabi"

namespace firstedge {
namespace {

using Lanes =
    double __attribute__((vector_size(lanes * sizeof(double)), aligned(alignof(double)), may_alias));

// The next samples, wherever they stand.
[[gnu::always_inline]] inline const Lanes& at(const double* from) {
  return *reinterpret_cast<const Lanes*>(from);
}

// The first `count` samples of a group, and 0 in the other lanes; those beyond are not read.
[[gnu::always_inline]] inline Lanes part_at(const double* from, std::size_t count) {
  Lanes part{};
  for (std::size_t k = 0; k < lanes; ++k) part[k] = k < count ? from[k] : 0.0;
  return part;
}

// The first `count` lanes, and 0 in the others: added to a sum, which is never -0, it changes nothing.
[[gnu::always_inline]] inline Lanes first_of(const Lanes& all, std::size_t count) {
  Lanes some{};
  for (std::size_t k = 0; k < lanes; ++k) some[k] = k < count ? all[k] : 0.0;
  return some;
}

[[gnu::always_inline]] inline double total(const Lanes& sums) {
  const auto fours =
      __builtin_shufflevector(sums, sums, 0, 1, 2, 3) + __builtin_shufflevector(sums, sums, 4, 5, 6, 7);
  const auto twos = __builtin_shufflevector(fours, fours, 0, 1) + __builtin_shufflevector(fours, fours, 2, 3);
  return twos[0] + twos[1];
}

// How many of `size` values stand in whole groups of lanes.
constexpr std::size_t whole(std::size_t size) {
  return size - size % lanes;
}

[[gnu::always_inline]] inline Moments moments_in(const double* v, std::size_t size, double level) {
  Lanes sums{}, squares{};
  const auto add = [&](const Lanes& distance) {
    sums += distance;
    squares += distance * distance;
  };
  for (std::size_t i = 0; i < whole(size); i += lanes) add(at(v + i) - level);
  const std::size_t rest = size % lanes;
  if (rest > 0) add(first_of(part_at(v + whole(size), rest) - level, rest));
  return {total(sums), total(squares)};
}

}  // namespace

FIRSTEDGE_VECTOR_CLONES double sum_of(std::span<const double> values) {
  const double* v = values.data();
  const std::size_t size = values.size(), rest = size % lanes;
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) sums += at(v + i);
  if (rest > 0) sums += part_at(v + whole(size), rest);
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES double sum_of_distances(std::span<const double> values, double level) {
  const double* v = values.data();
  const std::size_t size = values.size(), rest = size % lanes;
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) sums += at(v + i) - level;
  if (rest > 0) sums += first_of(part_at(v + whole(size), rest) - level, rest);
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES double sum_of_squared_distances(std::span<const double> values, double level) {
  return moments_in(values.data(), values.size(), level).squares;
}

FIRSTEDGE_VECTOR_CLONES double sum_of_products(std::span<const double> a, std::span<const double> b) {
  assert(a.size() == b.size());
  const double *x = a.data(), *y = b.data();
  const std::size_t size = a.size(), rest = size % lanes;
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) sums += at(x + i) * at(y + i);
  if (rest > 0) sums += part_at(x + whole(size), rest) * part_at(y + whole(size), rest);
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES std::array<double, lags_at_once> lag_products(std::span<const double> values,
                                                                      std::size_t first_lag) {
  assert(values.size() >= first_lag + lags_at_once);
  const double* v = values.data();
  const std::size_t shortest = values.size() - (first_lag + lags_at_once - 1);
  Lanes sums[lags_at_once]{};
  for (std::size_t i = 0; i < whole(shortest); i += lanes) {
    const Lanes here = at(v + i);
    for (std::size_t k = 0; k < lags_at_once; ++k) sums[k] += here * at(v + i + first_lag + k);
  }
  std::array<double, lags_at_once> products{};
  for (std::size_t k = 0; k < lags_at_once; ++k) {
    const std::size_t lag = first_lag + k, size = values.size() - lag, rest = size % lanes;
    if (whole(size) > whole(shortest)) sums[k] += at(v + whole(shortest)) * at(v + whole(shortest) + lag);
    if (rest > 0) sums[k] += part_at(v + whole(size), rest) * part_at(v + whole(size) + lag, rest);
    products[k] = total(sums[k]);
  }
  return products;
}

FIRSTEDGE_VECTOR_CLONES double sum_by_place(std::span<const double> values, double level, double middle) {
  const double* v = values.data();
  const std::size_t size = values.size(), rest = size % lanes;
  Lanes sums{};
  Lanes place = Lanes{0, 1, 2, 3, 4, 5, 6, 7} - middle;
  for (std::size_t i = 0; i < whole(size); i += lanes) {
    sums += place * (at(v + i) - level);
    place += static_cast<double>(lanes);
  }
  if (rest > 0) sums += first_of(place * (part_at(v + whole(size), rest) - level), rest);
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES Moments moments_about(std::span<const double> values, double level) {
  return moments_in(values.data(), values.size(), level);
}

FIRSTEDGE_VECTOR_CLONES std::array<Moments, blocks_at_once> moments_of_blocks(std::span<const double> values,
                                                                              std::size_t block) {
  assert(values.size() <= blocks_at_once * block);
  std::array<Moments, blocks_at_once> moments{};
  const double* v = values.data();
  for (std::size_t k = 0; (k + 1) * block <= values.size(); ++k)
    moments[k] = moments_in(v + k * block, block, v[k * block]);
  return moments;
}

FIRSTEDGE_VECTOR_CLONES std::array<double, groups_at_once> sums_of_groups(std::span<const double> values) {
  assert(values.size() <= groups_at_once * lanes);
  std::array<double, groups_at_once> sums{};
  for (std::size_t k = 0; (k + 1) * lanes <= values.size(); ++k)
    sums[k] = total(at(values.data() + k * lanes));
  return sums;
}

FIRSTEDGE_VECTOR_CLONES Extremes extremes_of(std::span<const double> values) {
  assert(!values.empty());
  const double* v = values.data();
  const std::size_t size = values.size();
  Lanes least = Lanes{} + v[0], greatest = Lanes{} + v[0];
  for (std::size_t i = 0; i < whole(size); i += lanes) {
    const Lanes here = at(v + i);
    least = here < least ? here : least;
    greatest = here > greatest ? here : greatest;
  }
  Extremes found{least[0], greatest[0]};
  for (std::size_t k = 1; k < lanes; ++k) {
    found.least = least[k] < found.least ? least[k] : found.least;
    found.greatest = greatest[k] > found.greatest ? greatest[k] : found.greatest;
  }
  for (std::size_t i = whole(size); i < size; ++i) {
    found.least = v[i] < found.least ? v[i] : found.least;
    found.greatest = v[i] > found.greatest ? v[i] : found.greatest;
  }
  return found;
}

// 0 times a number is 0, times an infinity or a NaN it is NaN.
FIRSTEDGE_VECTOR_CLONES bool all_finite(std::span<const double> values) {
  const double* v = values.data();
  const std::size_t size = values.size(), rest = size % lanes;
  // Sums that do not wait for one another.
  constexpr std::size_t side_by_side = 4, stride = side_by_side * lanes;
  Lanes sums[side_by_side]{};
  std::size_t i = 0;
  for (; i + stride <= size; i += stride)
    for (std::size_t k = 0; k < side_by_side; ++k) sums[k] += at(v + i + k * lanes) * 0.0;
  for (; i < whole(size); i += lanes) sums[0] += at(v + i) * 0.0;
  if (rest > 0) sums[0] += part_at(v + whole(size), rest) * 0.0;
  return total((sums[0] + sums[1]) + (sums[2] + sums[3])) == 0;
}

FIRSTEDGE_VECTOR_CLONES void prewhiten(std::span<double> values, double factor) {
  assert(!values.empty());
  double* v = values.data();
  const std::size_t size = values.size() - 1;
  for (std::size_t i = 0; i < size; ++i) v[i] = v[i + 1] - factor * v[i];
}

FIRSTEDGE_VECTOR_CLONES void correlate(std::span<const double> values, std::span<const double> weights,
                                       std::span<double> sums) {
  assert(values.size() + 1 == sums.size() + weights.size());
  const double *v = values.data(), *w = weights.data();
  double* to = sums.data();
  const std::size_t size = sums.size(), count = weights.size();
  for (std::size_t i = 0; i < whole(size); i += lanes) {
    Lanes sum{};
    for (std::size_t k = 0; k < count; ++k) sum += w[k] * at(v + i + k);
    *reinterpret_cast<Lanes*>(to + i) = sum;
  }
  for (std::size_t i = whole(size); i < size; ++i) {
    to[i] = 0;
    for (std::size_t k = 0; k < count; ++k) to[i] += w[k] * v[i + k];
  }
}

FIRSTEDGE_VECTOR_CLONES std::array<double, lanes> products_with_eight(std::span<const double> rows,
                                                                      std::span<const double> values) {
  assert(rows.size() == lanes * values.size());
  const double *r = rows.data(), *v = values.data();
  const std::size_t size = values.size();
  Lanes sums[lanes]{};
  for (std::size_t k = 0; k < whole(size); k += lanes)
    for (std::size_t j = 0; j < lanes; ++j) sums[j] += at(r + (k + j) * lanes) * v[k + j];
  for (std::size_t k = whole(size); k < size; ++k) sums[k % lanes] += at(r + k * lanes) * v[k];
  const Lanes all = ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]));
  std::array<double, lanes> products{};
  for (std::size_t j = 0; j < lanes; ++j) products[j] = all[j];
  return products;
}

FIRSTEDGE_VECTOR_CLONES void take_away(std::span<double> values, double level) {
  double* v = values.data();
  const std::size_t size = values.size();
  for (std::size_t i = 0; i < size; ++i) v[i] -= level;
}

FIRSTEDGE_VECTOR_CLONES std::size_t first_above(std::span<const double> values, std::size_t from, int sign,
                                                double level) {
  const double* v = values.data();
  const std::size_t size = values.size();
  const double times = sign;
  // Eight groups at a time: most traces are quiet nearly all along.
  constexpr std::size_t stride = 8 * lanes;
  std::size_t i = from;
  for (; i + stride <= size; i += stride) {
    Lanes greatest = at(v + i) * times;
    for (std::size_t group = lanes; group < stride; group += lanes) {
      const Lanes here = at(v + i + group) * times;
      greatest = here > greatest ? here : greatest;
    }
    bool any = false;
    for (std::size_t k = 0; k < lanes; ++k) any |= !(greatest[k] <= level);
    if (any) break;
  }
  for (; i < size; ++i)
    if (v[i] * times > level) return i;
  return size;
}

}  // namespace firstedge
