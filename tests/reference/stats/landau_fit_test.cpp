// The fit of a blurred Landau distribution against simulated truth: no bias, true uncertainties, whole or
// cut.
#include "firstedge/stats/landau.hpp"
#include "firstedge/stats/landau_gaussian_fit.hpp"
#include "firstedge/stats/spread.hpp"

#include "support/landau_variate.hpp"
#include "support/random.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::landau_variate;

std::vector<double> blurred_landau(const LandauGaussian& truth, std::size_t count, std::uint64_t seed) {
  test::Random random(seed);
  std::vector<double> values;
  for (std::size_t i = 0; i < count; ++i)
    values.push_back(truth.most_probable + truth.landau_width * (landau_variate(random) - landau_mode) +
                     random.normal(0, truth.gaussian_width));
  return values;
}

TEST(landau_fit_reference, landau_variates_follow_the_distribution) {
  test::Random random(2024);
  constexpr int count = 20000;
  std::vector<double> cumulative;
  for (int i = 0; i < count; ++i) cumulative.push_back(landau_cumulative(landau_variate(random)));
  const std::vector<double> sorted = finite_sorted(cumulative);
  double largest = 0;
  for (int i = 0; i < count; ++i)
    largest = std::max(largest, std::abs(sorted[static_cast<std::size_t>(i)] - (i + 0.5) / count));
  // Kolmogorov's 0.1 % point, 1.95/sqrt(n).
  EXPECT_LT(largest, 1.95 / std::sqrt(count));
}

struct Pulls {
  std::vector<double> most_probable, landau_width, gaussian_width, peak, pulses;
  std::vector<double> probability;
  double mean_shift = 0, mean_error = 0;  // of the most probable value, and its standard error
};

Pulls pulls_of(const LandauGaussian& truth, const LandauGaussianFitOptions& cut, std::size_t count,
               std::size_t toys) {
  Pulls pulls;
  std::vector<double> found;
  const double peak = landau_gaussian_peak(truth);
  for (std::uint64_t seed = 1; seed <= toys; ++seed) {
    const LandauGaussianFit fit = fit_landau_gaussian(blurred_landau(truth, count, seed), cut);
    EXPECT_EQ(fit.outcome, LandauGaussianFit::Outcome::found) << words_of(fit.outcome) << ", seed " << seed;
    const auto pull = [](const Estimate& estimate, double value) {
      return (estimate.value - value) / estimate.uncertainty;
    };
    pulls.most_probable.push_back(pull(fit.most_probable, truth.most_probable));
    pulls.landau_width.push_back(pull(fit.landau_width, truth.landau_width));
    pulls.gaussian_width.push_back(pull(fit.gaussian_width, truth.gaussian_width));
    pulls.peak.push_back(pull(fit.peak, peak));
    pulls.pulses.push_back(pull(fit.pulses, static_cast<double>(count)));
    pulls.probability.push_back(fit.probability);
    found.push_back(fit.most_probable.value);
  }
  const Moments spread = moments(found);
  pulls.mean_shift = spread.mean.value - truth.most_probable;
  pulls.mean_error = spread.mean.uncertainty;
  return pulls;
}

// N(0, 1): mean within 4 standard errors, deviation within 4 of its own. A likelihood's skewness moves the
// mean pull by about 1/sqrt(values) of order one, which is added.
void expect_standard_normal(const std::vector<double>& pulls, double skew, const char* what) {
  const Moments spread = moments(pulls);
  EXPECT_NEAR(spread.mean.value, 0, 4 * spread.mean.uncertainty + skew) << what;
  EXPECT_NEAR(spread.deviation.value, 1, 4 * spread.deviation.uncertainty) << what;
}

TEST(landau_fit_reference, whole_samples_give_the_truth_with_true_uncertainties) {
  constexpr std::size_t count = 2000;
  for (const double ratio : {0.8, 1.5, 4.0}) {
    const LandauGaussian truth{.most_probable = 0.1, .landau_width = 0.008, .gaussian_width = 0.008 * ratio};
    const Pulls pulls = pulls_of(truth, {}, count, 40);
    const double skew = 3 / std::sqrt(count);
    expect_standard_normal(pulls.most_probable, skew, "most probable");
    expect_standard_normal(pulls.landau_width, skew, "Landau width");
    expect_standard_normal(pulls.gaussian_width, skew, "Gaussian width");
    expect_standard_normal(pulls.peak, skew, "peak");
    // The bias of the most probable value within 3 standard errors of 40 samples.
    EXPECT_LT(std::abs(pulls.mean_shift), 3 * pulls.mean_error);
    // Probabilities of a good fit are even over 0 to 1: mean 0.5 with standard error 0.289/sqrt(40) = 0.046.
    EXPECT_NEAR(moments(pulls.probability).mean.value, 0.5, 4 * 0.0457);
  }
}

// A threshold on the rising side and a digitizer that clips the tail: the cut is in the likelihood, and the
// number of pulses under the whole curve is found again.
TEST(landau_fit_reference, a_threshold_and_a_clipped_tail_leave_no_bias) {
  constexpr std::size_t count = 3000;
  const LandauGaussian truth{.most_probable = 0.1, .landau_width = 0.008, .gaussian_width = 0.01};
  const Pulls pulls = pulls_of(truth, {.low = 0.08, .high = 0.16}, count, 40);
  const double skew = 5 / std::sqrt(count);
  expect_standard_normal(pulls.most_probable, skew, "most probable");
  expect_standard_normal(pulls.landau_width, skew, "Landau width");
  expect_standard_normal(pulls.gaussian_width, skew, "Gaussian width");
  // `pulses` counts by its uncertainty a Poisson number, here it is fixed: the pulls are a little narrow.
  const Moments number = moments(pulls.pulses);
  EXPECT_NEAR(number.mean.value, 0, 4 * number.mean.uncertainty + skew);
  EXPECT_LT(number.deviation.value, 1 + 4 * number.deviation.uncertainty);
  EXPECT_GT(number.deviation.value, 0.6);
}

}  // namespace
}  // namespace firstedge
