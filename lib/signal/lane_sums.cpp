#include "firstedge/signal/lane_sums.hpp"

#include "firstedge/core/vector_clones.hpp"

#include <cassert>
#include <cmath>
#include <limits>

namespace firstedge {
namespace {

using Lanes =
    double __attribute__((vector_size(lanes * sizeof(double)), aligned(alignof(double)), may_alias));

// The next samples, wherever they stand.
[[gnu::always_inline]] inline const Lanes& at(const double* from) {
  return *reinterpret_cast<const Lanes*>(from);
}

[[gnu::always_inline]] inline double total(const Lanes& sums) {
  return ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]));
}

// How many of `size` values stand in whole groups of lanes.
constexpr std::size_t whole(std::size_t size) {
  return size - size % lanes;
}

}  // namespace

FIRSTEDGE_VECTOR_CLONES double sum_of(std::span<const double> values) {
  const double* v = values.data();
  const std::size_t size = values.size();
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) sums += at(v + i);
  for (std::size_t i = whole(size); i < size; ++i) sums[i % lanes] += v[i];
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES double sum_of_distances(std::span<const double> values, double level) {
  const double* v = values.data();
  const std::size_t size = values.size();
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) sums += at(v + i) - level;
  for (std::size_t i = whole(size); i < size; ++i) sums[i % lanes] += v[i] - level;
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES double sum_of_squared_distances(std::span<const double> values, double level) {
  const double* v = values.data();
  const std::size_t size = values.size();
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) {
    const Lanes distance = at(v + i) - level;
    sums += distance * distance;
  }
  for (std::size_t i = whole(size); i < size; ++i) sums[i % lanes] += (v[i] - level) * (v[i] - level);
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES double sum_of_products(std::span<const double> a, std::span<const double> b) {
  assert(a.size() == b.size());
  const double *x = a.data(), *y = b.data();
  const std::size_t size = a.size();
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) sums += at(x + i) * at(y + i);
  for (std::size_t i = whole(size); i < size; ++i) sums[i % lanes] += x[i] * y[i];
  return total(sums);
}

FIRSTEDGE_VECTOR_CLONES Moments moments_about(std::span<const double> values, double level) {
  const double* v = values.data();
  const std::size_t size = values.size();
  Lanes sums{}, squares{};
  for (std::size_t i = 0; i < whole(size); i += lanes) {
    const Lanes distance = at(v + i) - level;
    sums += distance;
    squares += distance * distance;
  }
  for (std::size_t i = whole(size); i < size; ++i) {
    sums[i % lanes] += v[i] - level;
    squares[i % lanes] += (v[i] - level) * (v[i] - level);
  }
  return {total(sums), total(squares)};
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
  const std::size_t size = values.size();
  Lanes sums{};
  for (std::size_t i = 0; i < whole(size); i += lanes) sums += at(v + i) * 0.0;
  for (std::size_t i = whole(size); i < size; ++i) sums[0] += v[i] * 0.0;
  return total(sums) == 0;
}

FIRSTEDGE_VECTOR_CLONES std::vector<double> prewhitened(std::span<const double> values, double factor) {
  assert(!values.empty());
  std::vector<double> white(values.size() - 1);
  const double* v = values.data();
  double* __restrict to = white.data();
  const std::size_t size = white.size();
  for (std::size_t i = 0; i < size; ++i) to[i] = v[i + 1] - factor * v[i];
  return white;
}

FIRSTEDGE_VECTOR_CLONES std::vector<double> correlated(std::span<const double> values,
                                                       std::span<const double> weights) {
  if (weights.size() > values.size()) return {};
  std::vector<double> sums(values.size() - weights.size() + 1);
  const double *v = values.data(), *w = weights.data();
  double* to = sums.data();
  const std::size_t size = sums.size(), count = weights.size();
  for (std::size_t i = 0; i < whole(size); i += lanes) {
    Lanes sum{};
    for (std::size_t k = 0; k < count; ++k) sum += w[k] * at(v + i + k);
    *reinterpret_cast<Lanes*>(to + i) = sum;
  }
  for (std::size_t i = whole(size); i < size; ++i)
    for (std::size_t k = 0; k < count; ++k) to[i] += w[k] * v[i + k];
  return sums;
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
