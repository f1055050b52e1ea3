#include "firstedge/stats/landau.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <gsl/gsl_randist.h>

namespace firstedge {
namespace {

using Rule = boost::math::quadrature::gauss_kronrod<double, 31>;
constexpr unsigned most_halvings = 12;
constexpr double wanted_error = 1e-13;

// Left of this the integral over t cancels too many digits, and the density is integrated instead; it is
// 1e-20 of its peak at the lower end.
constexpr double cancels_below = -2.5;
constexpr double nothing_below = -5;

// 1/pi int_0^inf exp(-t ln t - x t) sin(pi t)/t dt: the definition, integrated from x on. With t = v^3 the
// logarithm at 0 no longer costs the rule its digits.
double survival_integral(double x) {
  const auto integrand = [x](double v) {
    if (v <= 0) return 0.0;
    const double t = v * v * v;
    return 3 * std::exp(-t * (std::log(t) + x)) * std::sin(std::numbers::pi * t) / v;
  };
  // exp(-t (ln t + x)) < 1e-18 beyond this.
  double end = 45;
  for (int i = 0; i < 50; ++i) end = 42 / std::max(1.0, std::log(end) + x);
  return Rule::integrate(integrand, 0.0, std::cbrt(end), most_halvings, wanted_error) / std::numbers::pi;
}

}  // namespace

double landau_density(double x) {
  if (std::isnan(x)) return x;
  return std::isinf(x) ? 0 : gsl_ran_landau_pdf(x);
}

double landau_cumulative(double x) {
  if (std::isnan(x)) return x;
  if (x <= nothing_below) return 0;
  if (x < cancels_below)
    return Rule::integrate([](double t) { return landau_density(t); }, nothing_below, x, most_halvings,
                           wanted_error);
  return 1 - landau_survival(x);
}

double landau_survival(double x) {
  if (std::isnan(x)) return x;
  if (std::isinf(x)) return x > 0 ? 0 : 1;
  return x < cancels_below ? 1 - landau_cumulative(x) : survival_integral(x);
}

double moyal_density(double x) {
  return std::exp(-0.5 * (x + std::exp(-x))) / std::sqrt(2 * std::numbers::pi);
}

double moyal_cumulative(double x) {
  return std::erfc(std::exp(-0.5 * x) / std::numbers::sqrt2);
}

}  // namespace firstedge
