// Lane sums: the passes over samples that every trace goes through, eight samples at a time.
#pragma once

#include <array>
#include <cstddef>
#include <span>

namespace firstedge {

/// Every sum is made of eight, the k-th of the elements k, k + 8, k + 16, ..., added as ((0 + 4) + (2 + 6)) +
/// ((1 + 5) + (3 + 7)). The processor adds as many of them at a time as it can; the order stays the same, so
/// that the bits of a result do not depend on the processor (tests/unit/signal holds them to a plain loop).
inline constexpr std::size_t lanes = 8;

/// The sum of values[i]. Empty: 0, as for all of them.
double sum_of(std::span<const double> values);
/// The sum of values[i] - level.
double sum_of_distances(std::span<const double> values, double level);
/// The sum of (values[i] - level)^2.
double sum_of_squared_distances(std::span<const double> values, double level);
/// The sum of a[i] * b[i], for two of one size.
double sum_of_products(std::span<const double> a, std::span<const double> b);
/// The sum of (i - middle) * (values[i] - level).
double sum_by_place(std::span<const double> values, double level, double middle);

/// The sums of values[i] * values[i + lag] for the lags from first_lag on, each with the bits that
/// sum_of_products() gives it; values: at least first_lag + lags_at_once.
inline constexpr std::size_t lags_at_once = 4;
std::array<double, lags_at_once> lag_products(std::span<const double> values, std::size_t first_lag);

/// Both sums of values[i] - level and of its square, by one pass.
struct Moments {
  double distances = 0, squares = 0;
};
Moments moments_about(std::span<const double> values, double level);

/// The moments of each whole block of the values about its first one; no more than blocks_at_once.
inline constexpr std::size_t blocks_at_once = 16;
std::array<Moments, blocks_at_once> moments_of_blocks(std::span<const double> values, std::size_t block);

/// The sum of each whole group of `lanes` values; no more than groups_at_once.
inline constexpr std::size_t groups_at_once = 32;
std::array<double, groups_at_once> sums_of_groups(std::span<const double> values);

struct Extremes {
  double least = 0, greatest = 0;
};
/// Of at least one value, all finite.
Extremes extremes_of(std::span<const double> values);

bool all_finite(std::span<const double> values);

/// values[i] = values[i + 1] - factor * values[i], for all but the last of at least one.
void prewhiten(std::span<double> values, double factor);

/// sums[i] = the sum over k of weights[k] * values[i + k], one after the other from k = 0, for every i at
/// which the weights have values: sums has values.size() + 1 - weights.size() places, one or more.
void correlate(std::span<const double> values, std::span<const double> weights, std::span<double> sums);

/// Of each of eight rows its sum_of_products() with the values, bit for bit; rows[k * lanes + j] is number k
/// of row j, shape (values, lanes). A row that is shorter is filled up with zeros.
std::array<double, lanes> products_with_eight(std::span<const double> rows, std::span<const double> values);

/// values[i] -= level
void take_away(std::span<double> values, double level);

/// The first i >= from with sign * values[i] > level; the size if there is none. sign: 1 or -1. A NaN is not
/// above anything.
std::size_t first_above(std::span<const double> values, std::size_t from, int sign, double level);

}  // namespace firstedge
