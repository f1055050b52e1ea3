// Claims of noise whitening, of the template's shape and of the time bound at the edges of what it is given.
#include "firstedge/core/error.hpp"
#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/noise_whitening.hpp"
#include "firstedge/timing/template_shape.hpp"
#include "firstedge/timing/time_bound.hpp"

#include "support/pulse_shapes.hpp"
#include "support/random.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace firstedge {
namespace {

NoiseModel noise_of(std::vector<double> autocovariance, std::size_t samples_used = 0) {
  return {.interval_s = 0.2e-9, .autocovariance_v2 = std::move(autocovariance), .samples_used = samples_used};
}

// The plain twin: C^-1 b by Gaussian elimination on the full Toeplitz matrix.
std::vector<double> solved(const NoiseModel& noise, std::vector<double> b) {
  const std::size_t n = b.size();
  std::vector<std::vector<double>> c(n, std::vector<double>(n));
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = 0; j < n; ++j) c[i][j] = noise.covariance_v2(i > j ? i - j : j - i);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = i + 1; k < n; ++k) {
      const double factor = c[k][i] / c[i][i];
      for (std::size_t j = i; j < n; ++j) c[k][j] -= factor * c[i][j];
      b[k] -= factor * b[i];
    }
  }
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t j = i + 1; j < n; ++j) b[i] -= c[i][j] * b[j];
    b[i] /= c[i][i];
  }
  return b;
}

TEST(noise_whitening, gives_the_quadratic_form_of_the_inverse_covariance) {
  test::Random random(71);
  for (const std::size_t size : {1U, 2U, 3U, 7U, 40U, 101U}) {
    std::vector<double> a(size, 0.0);
    std::vector<double> b(size, 0.0);
    random.add_white_noise(a, 1);
    random.add_white_noise(b, 1);
    for (const NoiseModel& noise : {noise_of({4.0}), noise_of({2.0, 0.8, 0.3}), noise_of({1.0, -0.45}),
                                    noise_of({1.2, .8, .6, .4, .2})}) {
      const NoiseWhitening whitening(noise, size);
      const double fast = sum_of_products(whitening.whitened(a), whitening.whitened(b));
      const double slow = sum_of_products(a, solved(noise, b));
      // 1e-4: square root of the squared partial correlations that may be left over (header), times |a| |b|.
      const double scale =
          std::sqrt(sum_of_products(a, solved(noise, a)) * sum_of_products(b, solved(noise, b)));
      EXPECT_NEAR(fast, slow, 1e-4 * scale) << size << " lags " << noise.autocovariance_v2.size();
    }
  }
}

TEST(noise_whitening, a_covariance_that_is_not_positive_definite_is_continued_as_autoregressive_noise) {
  // No process has covariances 1, 0.9, 0: what is used instead is the first-order process 0.9^k.
  const NoiseWhitening whitening(noise_of({1.0, 0.9, 0.0}), 50);
  EXPECT_EQ(whitening.order(), 1U);
  const auto white = whitening.whitened(std::vector<double>{1.0, 2.0, -1.0});
  const double scale = 1 / std::sqrt(1 - 0.81);
  EXPECT_NEAR(white[0], 1.0, 1e-15);
  EXPECT_NEAR(white[1], (2.0 - 0.9) * scale, 1e-14);  // rounding
  EXPECT_NEAR(white[2], (-1.0 - 1.8) * scale, 1e-14);
}

TEST(noise_whitening, chance_correlations_of_a_learnt_model_are_not_followed) {
  // 40 000 samples: correlations of 1/200 are chance, 0.3 is not.
  std::vector<double> covariance(60);
  test::Random random(5);
  random.add_white_noise(covariance, 0.005);
  covariance[0] = 1;
  EXPECT_LE(NoiseWhitening(noise_of(covariance, 40'000), 200).order(), 12U);
  EXPECT_EQ(NoiseWhitening(noise_of({1, 0.3, 0.09, 0.027, 0.0081, 0.00243}, 40'000), 200).order(), 1U);
}

TEST(noise_whitening, noise_that_is_not_known_whitens_with_one_volt) {
  for (const NoiseModel& noise : {noise_of({}), noise_of({0.0}), noise_of({-1.0}),
                                  noise_of({std::numeric_limits<double>::quiet_NaN()})}) {
    const NoiseWhitening whitening(noise, 10);
    EXPECT_FALSE(whitening.known());
    EXPECT_EQ(whitening.whitened(std::vector<double>{3.0, 4.0}), (std::vector<double>{3.0, 4.0}));
  }
  EXPECT_TRUE(NoiseWhitening(noise_of({1.0}), 0).whitened({}).empty());
}

TEST(time_bound, edges_of_what_it_is_given) {
  const std::vector<double> slope{0, 1e9, 2e9, 1e9, 0};
  EXPECT_EQ(time_bound_s(slope, noise_of({0.0})), 0.0);
  EXPECT_TRUE(std::isnan(time_bound_s(slope, noise_of({}))));
  EXPECT_TRUE(std::isinf(time_bound_s(std::vector<double>(5, 0.0), noise_of({1.0}))));
  EXPECT_TRUE(std::isinf(time_bound_s({}, noise_of({1.0}))));
  EXPECT_TRUE(std::isnan(time_bound_s(std::vector<double>{NAN, 1e9}, noise_of({1.0}))));
  // A straight line cannot be told from its own shift in height or level.
  EXPECT_TRUE(std::isinf(time_bound_with_height_s(std::vector<double>(5, 1e9),
                                                  std::vector<double>{0, 1, 2, 3, 4}, noise_of({1.0}))));
  EXPECT_TRUE(std::isinf(time_bound_with_height_s(slope, slope, noise_of({1.0}))));
}

PulseTemplate gaussian_template(double sigma_s, double interval_s) {
  PulseTemplate made;
  made.interval_s = interval_s;
  made.first_s = -5 * sigma_s;
  const auto points = static_cast<std::size_t>(std::lround(13 * sigma_s / interval_s)) + 1;
  // Reference instant: half height on the rising side, sqrt(2 ln 2) sigma before the peak.
  const auto shape = test::gaussian(std::sqrt(2 * std::numbers::ln2) * sigma_s, sigma_s);
  made.shape = test::sampled(shape, 1.0, points, interval_s, made.first_s);
  return made;
}

TEST(template_shape, reads_the_measures_of_a_gaussian) {
  const double sigma = 0.9e-9 / 1.68738;  // 10 % to 90 % in 0.9 ns: 2.14596602629 - 0.45904360503 (below)
  const TemplateShape shape(gaussian_template(sigma, 25e-12));
  // Grid error of the spline: 1e-9 of the height (header), over the slope of about 1/ns: 1e-18 s.
  EXPECT_NEAR(shape.reference_s(), 0, 1e-17);
  // A Gaussian crosses p at sqrt(2 ln(1/p)) sigma before its peak: 2.14596602629 and 0.45904360503 (derived).
  EXPECT_NEAR(shape.transition_duration_s(), (2.14596602629 - 0.45904360503) * sigma, 1e-17);
  EXPECT_NEAR(shape.peak(), 1, 1e-9);
  EXPECT_NEAR(shape.peak_s(), std::sqrt(2 * std::numbers::ln2) * sigma, 2e-14);  // flat top: sqrt of rounding
  EXPECT_EQ(shape.value(shape.first_s() - 1e-12), 0.0);
  EXPECT_EQ(shape.slope_per_s(shape.last_s() + 1e-12), 0.0);
}

TEST(template_shape, refuses_templates_that_cannot_be_used) {
  const PulseTemplate good = gaussian_template(0.5e-9, 25e-12);
  const auto refused = [&](auto&& spoil) {
    PulseTemplate bad = good;
    spoil(bad);
    EXPECT_THROW(TemplateShape{bad}, Error);
  };
  refused([](PulseTemplate& t) { t.shape.clear(); });
  refused([](PulseTemplate& t) { t.shape.resize(7); });
  refused([](PulseTemplate& t) { t.interval_s = 0; });
  refused([](PulseTemplate& t) { t.interval_s = NAN; });
  refused([](PulseTemplate& t) { t.first_s = INFINITY; });
  refused([](PulseTemplate& t) { t.shape[3] = NAN; });
  refused([](PulseTemplate& t) { t.shape_uncertainty = {1, 2}; });
  refused([](PulseTemplate& t) { t.reference_fraction = 1; });
  refused([](PulseTemplate& t) { t.shape.assign(50, -1.0); });
  refused([](PulseTemplate& t) { t.shape.assign(50, 1.0); });
  EXPECT_THROW(TemplateShape(good).samples_across(1e-20), Error);
  EXPECT_THROW(TemplateShape(good).samples_across(1.0), Error);
  EXPECT_THROW(TemplateShape(good).samples_across(NAN), Error);
}

TEST(time_bound, of_a_template_scales_with_the_height_and_agrees_with_the_samples) {
  const double sigma = 0.5e-9;
  const NoiseModel noise = noise_of({1e-4, 5e-5, 1e-5});
  const TimeBound bound(gaussian_template(sigma, 25e-12), noise);
  const auto slope = [&](double t) {
    return -t / (sigma * sigma) * std::exp(-0.5 * t * t / (sigma * sigma));
  };
  const auto samples = test::sampled(slope, 0.3, 41, noise.interval_s, -4e-9);
  // At 2.5 samples a standard deviation the position of the grid changes the sum by exp(-2 pi^2 2.5^2/...):
  // nothing; the ends of the template (5 sigma) cut 1e-5 of the slope's square sum.
  EXPECT_NEAR(bound(0.3) / time_bound_s(samples, noise), 1, 2e-5);
  EXPECT_NEAR(bound(0.6), bound(0.3) / 2, 1e-25);
  EXPECT_NEAR(time_bound_s(gaussian_template(sigma, 25e-12), 0.3, noise), bound(0.3), 1e-25);
  EXPECT_TRUE(std::isnan(bound(0)));
  EXPECT_TRUE(std::isnan(bound(NAN)));
}

}  // namespace
}  // namespace firstedge
