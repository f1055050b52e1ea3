// Claims of what fits of overlapping pulses are made of: columns put together are those whitened whole, and
// least squares by orthogonal columns is that of the normal equations.
#include "firstedge/timing/group_samples.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/orthogonal_columns.hpp"

#include "support/pile_up_scenes.hpp"
#include "support/small_matrix.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using namespace test;  // scenes

/// The plain twin: the pulse set among the samples, whitened with them, what is missing taken out.
std::vector<double> whitened_whole(const TemplateColumns& columns, const PulseSamples& samples, int polarity,
                                   std::ptrdiff_t first, const std::vector<double>& values) {
  std::vector<double> all(samples.volts.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    const std::ptrdiff_t at = first + static_cast<std::ptrdiff_t>(i) - samples.first;
    if (at >= 0 && at < static_cast<std::ptrdiff_t>(all.size()))
      all[static_cast<std::size_t>(at)] = polarity * values[i];
  }
  const MissingSamples missing =
      samples.any_left_out ? MissingSamples(samples.left_out, columns.whitening()) : MissingSamples();
  return missing.taken_out(columns.whitening().whitened(all));
}

void expect_same(const std::vector<double>& found, const std::vector<double>& whole) {
  ASSERT_EQ(found.size(), whole.size());
  const double largest = std::abs(*std::max_element(
      whole.begin(), whole.end(), [](double a, double b) { return std::abs(a) < std::abs(b); }));
  // Sums of some hundred products, each rounded to 1e-16 of the largest.
  for (std::size_t i = 0; i < whole.size(); ++i) EXPECT_NEAR(found[i], whole[i], 1e-13 * largest) << i;
}

TEST(group_samples, columns_put_together_are_those_whitened_whole) {
  for (const double correlation : {0.0, 0.9}) {
    NoiseModel noise = autoregressive_noise(0.02, correlation, interval);
    // A higher order.
    if (correlation > 0)
      for (std::size_t k = 0; k < noise.autocovariance_v2.size(); ++k)
        noise.autocovariance_v2[k] +=
            1e-4 * std::cos(0.9 * double(k)) * std::exp(-double(k) / 10) + (k == 0 ? 1e-5 : 0.0);
    const TemplateColumns columns(exact(), noise, true);
    EXPECT_EQ(columns.whitening().order() > 2, correlation > 0);
    PulseSamples samples{.volts = std::vector<double>(200), .first = 30, .left_out = std::vector<bool>(200)};
    for (const bool missing : {false, true}) {
      for (std::size_t k = 60; k < 66; ++k) samples.left_out[k] = missing;
      samples.any_left_out = missing;
      const GroupSamples group(columns, samples);
      // Before the samples, cut by their beginning, within, cut by their end, and after them.
      for (const double time : {-400.0, 12.3, 31.4, 45.03, 100.0, 149.71, 221.6, 700.0}) {
        SCOPED_TRACE(time);
        for (const int polarity : {1, -1}) {
          const GroupMember member{.time_samples = time, .polarity = polarity};
          const TemplateColumns::Sampled plain = columns.sampled(time);
          const auto whole = [&](const std::vector<double>& values) {
            return whitened_whole(columns, samples, polarity, plain.first, values);
          };
          const std::vector<double> shape = group.shape_of(member);
          expect_same(shape, whole(plain.shape));
          expect_same(group.slope_of(member), whole(plain.slope));
          const SampleRange rows = group.rows_of(member);
          std::size_t outside = 0;
          for (std::size_t i = 0; i < shape.size(); ++i)
            outside += shape[i] != 0 && (i < rows.first || i >= rows.last) ? 1 : 0;
          EXPECT_EQ(outside, 0U);
        }
      }
    }
  }
}

TEST(orthogonal_columns, solve_least_squares_as_the_normal_equations_do) {
  constexpr std::size_t rows = 61, count = 5;
  Random random(11);
  std::vector<double> data(rows);
  random.add_white_noise(data, 1);
  Matrix columns(count, std::vector<double>(rows));
  for (std::vector<double>& column : columns) random.add_white_noise(column, 1);
  OrthogonalColumns orthogonal(data);
  for (const std::vector<double>& column : columns) EXPECT_TRUE(orthogonal.add(column));
  Matrix products(count, std::vector<double>(count));
  for (std::size_t i = 0; i < count; ++i)
    for (std::size_t j = 0; j < count; ++j) products[i][j] = sum_of_products(columns[i], columns[j]);
  const Matrix inverted = inverse(products);
  const std::vector<double> solution = orthogonal.solution();
  std::vector<double> rest = data;
  for (std::size_t i = 0; i < count; ++i) {
    double expected = 0;
    for (std::size_t j = 0; j < count; ++j) expected += inverted[i][j] * sum_of_products(columns[j], data);
    // 1e-12: rounding times the condition of a few random columns, some 10.
    EXPECT_NEAR(solution[i], expected, 1e-12);
    for (std::size_t n = 0; n < rows; ++n) rest[n] -= expected * columns[i][n];
  }
  EXPECT_NEAR(orthogonal.rest2(), sum_of_products(rest, rest), 1e-11);
}

TEST(orthogonal_columns, refuses_a_column_that_is_a_sum_of_the_others) {
  Random random(12);
  std::vector<double> a(40), b(40), sum(40);
  random.add_white_noise(a, 1);
  random.add_white_noise(b, 1);
  for (std::size_t i = 0; i < sum.size(); ++i) sum[i] = 2 * a[i] - b[i];
  OrthogonalColumns columns(a);
  EXPECT_TRUE(columns.add(a));
  EXPECT_TRUE(columns.add(b));
  EXPECT_FALSE(columns.add(sum));
  EXPECT_FALSE(columns.add(std::vector<double>(40)));
  EXPECT_EQ(columns.count(), 2U);
}

}  // namespace
}  // namespace firstedge
