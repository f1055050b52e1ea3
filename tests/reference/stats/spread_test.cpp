// Location, spread, histogram, bootstrap and Gaussian core against NumPy, SciPy, closed forms and simulation.
#include "firstedge/stats/spread.hpp"

#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/gaussian_core.hpp"
#include "firstedge/stats/histogram.hpp"

#include "reference/signal/scipy.hpp"
#include "support/random.hpp"

#include <cmath>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

std::vector<double> normal_sample(std::size_t count, std::uint64_t seed, double mean = 0, double sigma = 1) {
  test::Random random(seed);
  std::vector<double> values;
  for (std::size_t i = 0; i < count; ++i) values.push_back(random.normal(mean, sigma));
  return values;
}

// A normal core with a normal tail of the share and width given.
std::vector<double> tailed_sample(std::size_t count, std::uint64_t seed, double share, double width) {
  test::Random random(seed);
  std::vector<double> values;
  for (std::size_t i = 0; i < count; ++i)
    values.push_back(random.normal(0, random.uniform(0, 1) < share ? width : 1));
  return values;
}

TEST(spread_reference, numpy_and_scipy) {
  const std::vector<double> values = tailed_sample(501, 5, 0.1, 7);
  const std::vector<double> theirs = test::from_scipy(
      "from scipy import stats\n"
      "show(np.median(x)); show(stats.median_abs_deviation(x, scale='normal'))\n"
      "low, high = np.quantile(x, [stats.norm.cdf(-1), stats.norm.cdf(1)])\n"
      "show((high - low) / 2)\n"
      "show(np.mean(x)); show(np.std(x, ddof=1)); show(stats.sem(x))\n"
      "show(np.quantile(x, [0, 0.013, 0.5, 0.77, 1]))\n",
      values);
  ASSERT_EQ(theirs.size(), 11U);
  const Moments ours = moments(values);
  const std::vector<double> sorted = finite_sorted(values);
  // SciPy's constant has 12 digits; the rest is rounding.
  EXPECT_NEAR(median(values), theirs[0], 1e-15);
  EXPECT_NEAR(scaled_median_deviation(values), theirs[1], 1e-12);
  EXPECT_NEAR(central_half_width(values), theirs[2], 1e-13);
  EXPECT_NEAR(ours.mean.value, theirs[3], 1e-14);
  EXPECT_NEAR(ours.deviation.value, theirs[4], 1e-13);
  EXPECT_NEAR(ours.mean.uncertainty, theirs[5], 1e-14);
  const double at[] = {0, 0.013, 0.5, 0.77, 1};
  for (std::size_t i = 0; i < 5; ++i) EXPECT_NEAR(quantile_of_sorted(sorted, at[i]), theirs[6 + i], 1e-14);
}

// NIST/SEMATECH e-Handbook, 1.3.5.6: 1/Phi^-1(3/4) = 1.4826; erf(1/sqrt 2) = 0.6826894921370859 (closed
// form).
TEST(spread_reference, constants_of_the_normal_distribution) {
  EXPECT_NEAR(normal_per_median_deviation, 1.4826, 5e-5);
  EXPECT_NEAR(normal_per_median_deviation * normal_quantile(0.75), 1, 1e-14);
  EXPECT_NEAR(share_within_one_sigma, std::erf(1 / std::sqrt(2.0)), 1e-15);
  EXPECT_NEAR(normal_cumulative(1) - normal_cumulative(-1), share_within_one_sigma, 1e-15);
  // Abramowitz and Stegun, Table 26.1: P(1.96) = 0.97500 21048 51780, Z(1) = 0.24197 07245 19143.
  EXPECT_NEAR(normal_cumulative(1.96), 0.975002104851780, 1e-14);
  EXPECT_NEAR(normal_density(1), 0.241970724519143, 1e-14);
  EXPECT_NEAR(normal_quantile(0.975002104851780), 1.96, 1e-12);
}

TEST(spread_reference, standard_errors_of_normal_samples_are_what_the_headers_say) {
  constexpr std::size_t count = 400;
  constexpr std::size_t toys = 1500;
  std::vector<double> means, deviations, half_widths;
  for (std::uint64_t seed = 1; seed <= toys; ++seed) {
    const std::vector<double> values = normal_sample(count, seed);
    means.push_back(moments(values).mean.value);
    deviations.push_back(moments(values).deviation.value);
    half_widths.push_back(central_half_width(values));
  }
  // A standard deviation over 1500 samples is known to 1/sqrt(3000) = 1.8 %; four of these.
  const double root = std::sqrt(count);
  EXPECT_NEAR(moments(means).deviation.value * root, 1, 0.073);
  EXPECT_NEAR(moments(deviations).deviation.value * root, std::sqrt(0.5), 0.073 * std::sqrt(0.5));
  EXPECT_NEAR(moments(half_widths).deviation.value * root, 0.962, 0.073 * 0.962);
}

// Wilson's and Laplace's textbook limits: p(1-p)/n for many trials; for 0 of n, sqrt((n+1)/(n+3))/(n+2)
// (variance of the beta distribution, scipy.stats.beta).
TEST(spread_reference, shares) {
  const std::vector<double> theirs = test::from_scipy(
      "from scipy import stats\nshow([stats.beta.std(k + 1, n - k + 1) for k, n in ((0, 50), (34, 50), (683, "
      "1000))])\n");
  EXPECT_NEAR(share_of(0, 50).uncertainty, theirs.at(0), 1e-14);
  EXPECT_NEAR(share_of(34, 50).uncertainty, theirs.at(1), 1e-14);
  EXPECT_NEAR(share_of(683, 1000).uncertainty, theirs.at(2), 1e-14);
  EXPECT_NEAR(share_of(683, 1000).uncertainty, std::sqrt(0.683 * 0.317 / 1000), 2e-5);
}

TEST(histogram_reference, numpy_counts_and_freedman_diaconis_edges) {
  const std::vector<double> values = normal_sample(1000, 21, 3, 2);
  const std::vector<double> theirs = test::from_scipy(
      "counts, edges = np.histogram(x, bins='fd')\nshow(len(counts)); show(edges); show(counts)\n", values);
  const Histogram ours = histogram(values, BinOptions{});
  ASSERT_EQ(static_cast<double>(ours.bins()), theirs.at(0));
  for (std::size_t i = 0; i <= ours.bins(); ++i) EXPECT_NEAR(ours.edges[i], theirs.at(1 + i), 1e-13);
  for (std::size_t i = 0; i < ours.bins(); ++i)
    EXPECT_EQ(static_cast<double>(ours.counts[i]), theirs.at(2 + ours.bins() + i));
}

TEST(bootstrap_reference, intervals_of_scipy) {
  const std::vector<double> values = tailed_sample(80, 9, 0.15, 4);
  const std::vector<double> sorted = finite_sorted(values);
  const auto statistics = [&](std::span<const std::uint32_t> multiplicity) {
    double sum = 0;
    for (std::size_t i = 0; i < sorted.size(); ++i) sum += multiplicity[i] * sorted[i];
    return std::vector{sum / static_cast<double>(sorted.size()),
                       quantile_of_sorted(sorted, multiplicity, 0.75)};
  };
  const Bootstrap ours =
      bootstrap(sorted.size(), statistics, {.resamples = 20000, .coverage = 0.9, .seed = 4});
  const std::vector<double> theirs = test::from_scipy(
      "from scipy import stats\n"
      "for f in (np.mean, lambda v, axis: np.quantile(v, 0.75, axis=axis)):\n"
      "    b = stats.bootstrap((x,), f, axis=-1, n_resamples=20000, confidence_level=0.9, vectorized=True,\n"
      "        method='percentile', random_state=1)\n"
      "    show([b.standard_error, b.confidence_interval.low, b.confidence_interval.high])\n",
      values);
  for (std::size_t f = 0; f < 2; ++f) {
    const Bootstrapped& figure = ours.figures[f];
    const double se = theirs.at(3 * f);
    // A standard error from 20000 draws: 0.5 %, two of them, four sigma, more for long-tailed draws.
    EXPECT_NEAR(figure.standard_error, se, 0.03 * se);
    // A 5 % quantile of 20000 draws scatters by sqrt(0.05*0.95/20000)/0.103 = 1.5 % of a standard error, two
    // of them, four sigma; draws of a quantile are lumpy, twice that.
    EXPECT_NEAR(figure.percentile.low, theirs.at(3 * f + 1), 0.17 * se);
    EXPECT_NEAR(figure.percentile.high, theirs.at(3 * f + 2), 0.17 * se);
  }
}

// Coverage of one standard error, 68.3 %, for the mean and deviation of normal samples; percentile intervals
// are known to be a little short at this size (sqrt((n-1)/n)), 0.6 % of the width, 0.3 % of the coverage.
TEST(bootstrap_reference, intervals_cover_what_they_say) {
  constexpr std::size_t count = 80;
  constexpr std::size_t toys = 600;
  std::uint64_t mean_covered = 0;
  for (std::uint64_t seed = 1; seed <= toys; ++seed) {
    const std::vector<double> values = normal_sample(count, seed);
    const Bootstrap drawn = bootstrap(count,
                                      [&](std::span<const std::uint32_t> multiplicity) {
                                        double sum = 0;
                                        for (std::size_t i = 0; i < count; ++i)
                                          sum += multiplicity[i] * values[i];
                                        return std::vector{sum / count};
                                      },
                                      {.resamples = 400, .seed = seed});
    const Interval& interval = drawn.figures[0].corrected;
    if (interval.low <= 0 && 0 <= interval.high) ++mean_covered;
    // Closed form: the bootstrap's standard error of the mean is s sqrt((n-1)/n)/sqrt(n), scattered by
    // 1/sqrt(800) = 3.5 %; five of these.
    const double expected = moments(values).mean.uncertainty * std::sqrt((count - 1.0) / count);
    EXPECT_NEAR(drawn.figures[0].standard_error / expected, 1, 5 * 0.0354);
  }
  // Four binomial standard errors.
  EXPECT_NEAR(static_cast<double>(mean_covered) / toys, 0.6827, 4 * 0.019);
}

struct CoreToys {
  std::vector<double> widths, width_pulls, centre_pulls, fraction_pulls, fractions;
};

CoreToys core_toys(std::size_t toys, std::size_t count, double share, double width) {
  CoreToys found;
  for (std::uint64_t seed = 1; seed <= toys; ++seed) {
    const GaussianCore core = fit_gaussian_core(tailed_sample(count, seed, share, width));
    EXPECT_EQ(core.outcome, GaussianCore::Outcome::found) << seed;
    found.widths.push_back(core.width.value);
    found.width_pulls.push_back((core.width.value - 1) / core.width.uncertainty);
    found.centre_pulls.push_back(core.centre.value / core.centre.uncertainty);
    found.fractions.push_back(core.fraction.value);
    found.fraction_pulls.push_back((core.fraction.value - 1) / core.fraction.uncertainty);
  }
  return found;
}

TEST(gaussian_core_reference, a_normal_sample_has_its_sigma_whatever_the_window_cuts) {
  constexpr std::size_t count = 2000;
  const CoreToys toys = core_toys(500, count, 0, 1);
  // Mean within four standard errors; the window's own scatter widens the pulls by a few percent (header).
  EXPECT_NEAR(moments(toys.widths).mean.value, 1, 4 * moments(toys.widths).mean.uncertainty);
  EXPECT_NEAR(moments(toys.fractions).mean.value, 1, 4 * moments(toys.fractions).mean.uncertainty);
  for (const auto& pulls : {toys.width_pulls, toys.centre_pulls, toys.fraction_pulls})
    EXPECT_NEAR(moments(pulls).deviation.value, 1.03, 4 / std::sqrt(1000.0));
  // The header's 0.87/sqrt(n), known to 1/sqrt(1000) = 3.2 %; four of these.
  EXPECT_NEAR(moments(toys.widths).deviation.value * std::sqrt(count), 0.87, 0.87 * 0.126);
}

// The header's figures for normal tails five times as wide as the core.
TEST(gaussian_core_reference, tails_move_the_width_by_no_more_than_is_said) {
  const CoreToys few = core_toys(300, 2000, 0.05, 5);
  EXPECT_NEAR(moments(few.widths).mean.value, 1.016, 0.005);
  EXPECT_NEAR(moments(few.fractions).mean.value, 0.971, 0.003);
  const CoreToys many = core_toys(300, 2000, 0.2, 5);
  EXPECT_NEAR(moments(many.widths).mean.value, 1.092, 0.007);
  EXPECT_NEAR(moments(many.fractions).mean.value, 0.889, 0.005);
}

}  // namespace
}  // namespace firstedge
