// Landau and Moyal distributions against published tables, SciPy and the definition integrated to high
// precision; Landau blurred by a normal distribution against two independent integrals.
#include "firstedge/stats/landau.hpp"

#include "firstedge/stats/landau_gaussian.hpp"

#include "reference/signal/scipy.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <gsl/gsl_randist.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using std::numbers::pi;

// Gauss-Kronrod's rule of 61 points on even pieces, without any adapting: the pieces are chosen so narrow
// that each is smooth.
template <class Function>
double integral(const Function& function, double low, double high, int pieces) {
  double sum = 0;
  for (int i = 0; i < pieces; ++i)
    sum += boost::math::quadrature::gauss_kronrod<double, 61>::integrate(
        function, low + (high - low) * i / pieces, low + (high - low) * (i + 1) / pieces, 0);
  return sum;
}

// The definition, K. S. Kolbig and B. Schorr, Comput. Phys. Commun. 31 (1984) 97, with t = v^3 so that the
// logarithm at 0 costs no digits.
double defined_landau(double x) {
  const auto integrand = [x](double v) {
    const double t = v * v * v;
    return v <= 0 ? 0.0 : 3 * v * v * std::exp(-t * (std::log(t) + x)) * std::sin(pi * t);
  };
  return integral(integrand, 0, std::cbrt(x < -0.5 ? 90 : 60), 60) / pi;
}

struct LandauRow {
  double x, density, cumulative;
};
// Density and probability computed from the definition with 30 digits (mpmath); the density agrees with GSL
// 2.7.1 gsl_ran_landau_pdf to 8 digits or better. Recomputed values, 12 digits printed.
constexpr LandauRow landau_rows[] = {
    {-3, 6.73728613908e-4, 8.59212662521e-5}, {-2, 0.0439854783794, 0.0140943579341},
    {-1, 0.151391911521, 0.113614641054},     {-0.5, 0.177333546993, 0.19694218692},
    {0, 0.178854160675, 0.286832880125},      {0.5, 0.165232275483, 0.37328056248},
    {1, 0.145206637096, 0.45101809282},       {2, 0.104912989481, 0.575527934703},
    {5, 0.0391634195813, 0.773026779943},     {10, 0.0119764873888, 0.882938865914},
    {20, 0.00300497939569, 0.943462646851},   {100, 1.07611224008e-4, 0.989571029163}};

TEST(landau_reference, the_table_of_density_and_probability) {
  for (const LandauRow& row : landau_rows) {
    // The header's bound below 300.
    EXPECT_NEAR(landau_density(row.x), row.density, 5e-9 * row.density) << row.x;
    EXPECT_NEAR(landau_cumulative(row.x), row.cumulative, landau_cumulative_error) << row.x;
    EXPECT_NEAR(landau_survival(row.x), 1 - row.cumulative, landau_cumulative_error) << row.x;
    EXPECT_EQ(landau_density(row.x), gsl_ran_landau_pdf(row.x));
  }
}

TEST(landau_reference, the_definition_over_the_whole_range) {
  double worst = 0;
  for (const double x : {-2.8, -2.3, -1.7, -1.0, -0.2228, 0.4, 1.5, 3.0, 4.9, 7.0, 12.0, 30.0, 49.0, 51.0,
                         120.0, 299.0, 301.0, 700.0})
    worst = std::max(worst, std::abs(landau_density(x) / defined_landau(x) - 1));
  EXPECT_LT(worst, landau_density_error);
  EXPECT_GT(worst, 0.01 * landau_density_error);  // the bound says something
}

// Mode, full width at half maximum and median 1.3557804: slides "analistica" (eurofusion); digits beyond by
// mpmath. Quantiles by mpmath.
TEST(landau_reference, mode_width_median_and_quantiles) {
  // At a maximum the error goes with the square: 1e-4 off costs 1e-9.
  for (const double step : {-1e-3, 1e-3})
    EXPECT_LT(landau_density(landau_mode + step), landau_density(landau_mode));
  EXPECT_NEAR(landau_density(landau_mode), 0.180655633821, 2e-9);
  EXPECT_NEAR(landau_density(-1.58653295607), 0.5 * 0.180655633821, 1e-9);
  EXPECT_NEAR(landau_density(2.43211275649), 0.5 * 0.180655633821, 1e-9);
  EXPECT_NEAR(2.43211275649 + 1.58653295607, landau_full_width_half_maximum, 2e-11);
  EXPECT_NEAR(landau_cumulative(landau_mode), 0.246722564067, landau_cumulative_error);
  EXPECT_NEAR(landau_cumulative(landau_median), 0.5, 1e-11);
  const std::pair<double, double> quantiles[] = {
      {0.05, -1.49825415178}, {0.25, -0.204640651546}, {0.75, 4.45839461019}, {0.9, 11.6492846845}};
  for (const auto& [p, x] : quantiles) EXPECT_NEAR(landau_cumulative(x), p, 1e-11);
}

// Boost.Math's landau_distribution(0, 1) is another standard form: phi(x_KS) with x_KS = (pi/2) x + ln(pi/2),
// times pi/2. Its values: boostorg/math, test/test_landau.cpp.
TEST(landau_reference, the_other_standard_form_by_scale_and_shift) {
  const std::pair<double, double> published[] = {{0, 0.262240126375351657},
                                                 {1, 0.163531240868022603},
                                                 {-1, 0.221762208692280384},
                                                 {5, 0.0265588931293442756}};
  for (const auto& [x, density] : published)
    EXPECT_NEAR(0.5 * pi * landau_density(0.5 * pi * x + std::log(0.5 * pi)), density, 1e-8 * density);
}

// The density is minus the derivative of the survival (from the definition).
TEST(landau_reference, survival_falls_by_the_density_out_to_a_million) {
  for (const double x : {50.0, 1e3, 1e5, 1e6}) {
    const double step = 1e-3 * x;
    // Simpson's rule over a stretch of the tail; its error is (step/x)^4/30 relative.
    const double between =
        step / 3 * (landau_density(x - step) + 4 * landau_density(x) + landau_density(x + step));
    EXPECT_NEAR((landau_survival(x - step) - landau_survival(x + step)) / between, 1, 1e-5) << x;
  }
}

// J. E. Moyal, Phil. Mag. 46 (1955) 263; closed forms: mode 0, half maxima, median.
TEST(moyal_reference, closed_forms) {
  EXPECT_NEAR(moyal_density(0), 0.241970724519, 1e-12);
  EXPECT_NEAR(moyal_density(1), 0.201316244065, 1e-12);
  EXPECT_NEAR(moyal_density(-1), 0.168962336907, 1e-12);
  EXPECT_NEAR(moyal_cumulative(0), 0.317310507863, 1e-12);
  EXPECT_NEAR(moyal_cumulative(1), 0.544162429362, 1e-12);
  EXPECT_NEAR(moyal_density(-1.30634016777), 0.5 * moyal_density(0), 1e-11);
  EXPECT_NEAR(moyal_density(2.28446593003), 0.5 * moyal_density(0), 1e-11);
  EXPECT_NEAR(moyal_cumulative(0.787597599202), 0.5, 1e-12);
  // Mean gamma + ln 2, variance pi^2/2.
  const double mean = integral([](double x) { return x * moyal_density(x); }, -6, 80, 40);
  const double square = integral([](double x) { return x * x * moyal_density(x); }, -6, 80, 40);
  EXPECT_NEAR(mean, 1.27036284546, 1e-11);
  EXPECT_NEAR(square - mean * mean, 4.93480220054, 1e-10);
  EXPECT_NEAR(2.28446593003 + 1.30634016777, 3.5908060978, 2e-11);  // full width at half maximum
  const double cube =
      integral([=](double x) { return std::pow(x - mean, 3) * moyal_density(x); }, -6, 100, 40);
  EXPECT_NEAR(cube / std::pow(4.93480220054, 1.5), 1.53514159072, 1e-10);  // 28 sqrt(2) zeta(3)/pi^3
}

TEST(moyal_reference, scipy) {
  const std::vector<double> at{-3, -1.5, -0.1, 0.3, 2, 7, 20};
  const std::vector<double> theirs =
      test::from_scipy("from scipy import stats\nshow(stats.moyal.pdf(x))\nshow(stats.moyal.cdf(x))\n", at);
  ASSERT_EQ(theirs.size(), 2 * at.size());
  for (std::size_t i = 0; i < at.size(); ++i) {
    // Rounding of a few operations.
    EXPECT_NEAR(moyal_density(at[i]), theirs[i], 1e-14 * theirs[i]);
    EXPECT_NEAR(moyal_cumulative(at[i]), theirs[at.size() + i], 1e-13 * theirs[at.size() + i]);
  }
}

// The blurred density as the inverse transform of the product of the two characteristic functions: Landau's
// is exp(-pi |t|/2 - i t ln |t|) (from its stable law of exponent 1), the normal one's exp(-s^2 t^2/2). No
// Landau density enters.
double transformed(double u, double s) {
  const auto integrand = [u, s](double v) {
    const double t = v * v * v;
    const double turned = v <= 0 ? 0 : u * t + t * std::log(t);
    return 3 * v * v * std::exp(-0.5 * pi * t - 0.5 * s * s * t * t) * std::cos(turned);
  };
  // exp(-pi t/2) < 1e-16, and a few turns of the cosine a piece.
  return integral(integrand, 0, std::cbrt(24.0), 40 + static_cast<int>(std::abs(u))) / pi;
}

TEST(landau_gaussian_reference, the_inverse_transform) {
  double worst = 0;
  for (const double s : {0.0, 0.05, 0.3, 1.0, 3.0, 8.0, 20.0}) {
    const LandauGaussian curve{.most_probable = landau_mode, .landau_width = 1, .gaussian_width = s};
    const double top = transformed(landau_gaussian_peak(curve), s);
    for (double u = -4 - 5 * s; u < 60 + 5 * s; u += 1.37 * (1 + s)) {
      const double truth = transformed(u, s);
      if (truth < 1e-3 * top) continue;
      worst = std::max(worst, std::abs(landau_gaussian_density(u, curve) / truth - 1));
    }
  }
  EXPECT_LT(worst, landau_gaussian_density_error);
  EXPECT_GT(worst, 0.02 * landau_gaussian_density_error);  // the bound says something
}

TEST(landau_gaussian_reference, direct_convolution_with_the_definition) {
  for (const double s : {0.3, 3.0}) {
    const LandauGaussian curve{.most_probable = landau_mode, .landau_width = 1, .gaussian_width = s};
    for (const double u : {-1.0 - s, landau_mode, 2.0 + s}) {
      const auto product = [&](double y) {
        return defined_landau(u - y) * std::exp(-0.5 * y * y / (s * s)) / (s * std::sqrt(2 * pi));
      };
      // Landau's density is below 1e-8 left of -4, where the definition's integral loses its digits.
      const double direct = integral(product, -8 * s, std::min(8 * s, u + 4), 4);
      EXPECT_NEAR(landau_gaussian_density(u, curve) / direct, 1, landau_gaussian_density_error)
          << s << ' ' << u;
    }
  }
}

// f(x; m, w, g) = f((x - m)/w; 0, 1, g/w)/w, and the area is 1.
TEST(landau_gaussian_reference, scale_shift_and_area) {
  const LandauGaussian unit{.most_probable = 0, .landau_width = 1, .gaussian_width = 0.7};
  const LandauGaussian moved{.most_probable = 3e-3, .landau_width = 2e-4, .gaussian_width = 1.4e-4};
  for (const double x : {-2.0, 0.0, 1.0, 10.0})
    EXPECT_NEAR(landau_gaussian_density(3e-3 + 2e-4 * x, moved) * 2e-4, landau_gaussian_density(x, unit),
                1e-12);
  const double area = integral([&](double x) { return landau_gaussian_density(x, unit); }, -10, 2000, 400);
  // What lies beyond 2000 widths is Landau's survival there, the blur being far narrower.
  EXPECT_NEAR(area + landau_survival(2000 + landau_mode), 1, 1e-7);
}

TEST(landau_gaussian_reference, the_table_interpolates_density_and_probability) {
  double worst_density = 0;
  double worst_cumulative = 0;
  for (const double s : {0.02, 0.3, 1.0, 5.0, 10.0}) {
    const LandauGaussian curve{.most_probable = 40, .landau_width = 2, .gaussian_width = 2 * s};
    const LandauGaussianTable table(curve, 2000);
    double before = curve.most_probable - 2 * (3 + 4 * s);
    double running = table.cumulative(before);
    for (double x = before + 0.7; x < 400; x += 1.3 * (1 + s)) {
      const double exact = landau_gaussian_density(x, curve);
      worst_density = std::max(worst_density, std::abs(std::exp(table.log_density(x)) / exact - 1));
      running += integral([&](double at) { return landau_gaussian_density(at, curve); }, before, x, 1);
      before = x;
      worst_cumulative = std::max(worst_cumulative, std::abs(running - table.cumulative(x)));
    }
  }
  EXPECT_LT(worst_density, 2e-5);
  EXPECT_GT(worst_density, 2e-7);
  EXPECT_LT(worst_cumulative, 1e-6);
}

}  // namespace
}  // namespace firstedge
