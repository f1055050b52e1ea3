#include "firstedge/stats/gaussian_core.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <optional>
#include <vector>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
// Values this many robust widths away count as standing there: they are outside every window, and larger
// numbers would cost the running sums their digits.
constexpr double far_away = 50;

// Sums of the first i values, of their squares and their number, in units of a robust width from the median.
struct RunningSums {
  std::vector<double> values, count, first, second;
  double origin = 0, unit = 0;

  RunningSums(std::span<const double> sorted, std::span<const std::uint32_t> multiplicity) {
    origin = quantile_of_sorted(sorted, multiplicity, 0.5);
    unit = spread_around(sorted, multiplicity);
    if (!(unit > 0)) return;
    values.reserve(sorted.size());
    count.assign(1, 0);
    first.assign(1, 0);
    second.assign(1, 0);
    for (std::size_t i = 0; i < sorted.size(); ++i) {
      const double z = std::clamp((sorted[i] - origin) / unit, -far_away, far_away);
      const double n = multiplicity[i];
      values.push_back(z);
      count.push_back(count.back() + n);
      first.push_back(first.back() + n * z);
      second.push_back(second.back() + n * z * z);
    }
  }

  // The median absolute deviation would ask for another sort; half the distance of the quartiles is as good
  // a start.
  static double spread_around(std::span<const double> sorted, std::span<const std::uint32_t> multiplicity) {
    const double lower = quantile_of_sorted(sorted, multiplicity, 0.25);
    const double upper = quantile_of_sorted(sorted, multiplicity, 0.75);
    return 0.5 * normal_per_median_deviation * (upper - lower);
  }

  double total() const { return count.back(); }
};

// Number, mean and mean square of the values in a window.
struct WindowSums {
  std::size_t begin = 0, end = 0;
  double count = 0, mean = 0, square = 0;
};

WindowSums sums_in(const RunningSums& sums, double low, double high) {
  WindowSums in;
  in.begin = static_cast<std::size_t>(std::lower_bound(sums.values.begin(), sums.values.end(), low) -
                                      sums.values.begin());
  in.end = static_cast<std::size_t>(std::upper_bound(sums.values.begin(), sums.values.end(), high) -
                                    sums.values.begin());
  in.end = std::max(in.begin, in.end);
  in.count = sums.count[in.end] - sums.count[in.begin];
  in.mean = (sums.first[in.end] - sums.first[in.begin]) / in.count;
  in.square = (sums.second[in.end] - sums.second[in.begin]) / in.count;
  return in;
}

// A normal distribution cut to a window: the part of it inside, and the moments of x and x^2 there.
struct CutNormal {
  double inside = 0;                        // Phi(beta) - Phi(alpha)
  double slope_low = 0, slope_high = 0;     // densities at the edges, in units of x
  double mean = 0, square = 0;              // E x, E x^2
  double var_1 = 0, cov_12 = 0, var_2 = 0;  // of (x, x^2)
};

CutNormal cut_normal(double mu, double sigma, double low, double high) {
  const double a = (low - mu) / sigma;
  const double b = (high - mu) / sigma;
  const double pa = normal_density(a);
  const double pb = normal_density(b);
  CutNormal cut;
  cut.inside = normal_cumulative(b) - normal_cumulative(a);
  cut.slope_low = pa / sigma;
  cut.slope_high = pb / sigma;
  const double p = cut.inside;
  // Moments of t = (x - mu)/sigma, by parts: m_k = (k - 1) m_(k-2) - [t^(k-1) phi(t)]/p.
  const double m1 = -(pb - pa) / p;
  const double m2 = 1 - (b * pb - a * pa) / p;
  const double m3 = 2 * m1 - (b * b * pb - a * a * pa) / p;
  const double m4 = 3 * m2 - (b * b * b * pb - a * a * a * pa) / p;
  const double s2 = sigma * sigma;
  cut.mean = mu + sigma * m1;
  cut.square = mu * mu + 2 * mu * sigma * m1 + s2 * m2;
  // x = mu + sigma t, x^2 = mu^2 + 2 mu sigma t + sigma^2 t^2.
  const double v11 = m2 - m1 * m1;
  const double v12 = m3 - m1 * m2;
  const double v22 = m4 - m2 * m2;
  cut.var_1 = s2 * v11;
  cut.cov_12 = 2 * mu * s2 * v11 + s2 * sigma * v12;
  cut.var_2 = 4 * mu * mu * s2 * v11 + 4 * mu * sigma * s2 * v12 + s2 * s2 * v22;
  return cut;
}

struct Normal {
  double mu = 0, sigma = 1;
};

// Maximum likelihood of a cut normal distribution: its mean and mean square are those of the sample. Newton
// in the natural parameters (mu/sigma^2, -1/(2 sigma^2)), in which the likelihood is concave. Nothing when
// the maximum lies where the second parameter is not negative.
std::optional<Normal> fit_in(const WindowSums& in, double low, double high, Normal start) {
  double eta_1 = start.mu / (start.sigma * start.sigma);
  double eta_2 = -0.5 / (start.sigma * start.sigma);
  for (int step = 0; step < 100; ++step) {
    const double sigma = std::sqrt(-0.5 / eta_2);
    const double mu = eta_1 * sigma * sigma;
    const CutNormal cut = cut_normal(mu, sigma, low, high);
    if (!(cut.inside > 0)) return std::nullopt;
    const double d1 = in.mean - cut.mean;
    const double d2 = in.square - cut.square;
    const double determinant = cut.var_1 * cut.var_2 - cut.cov_12 * cut.cov_12;
    if (!(determinant > 0)) return std::nullopt;
    double step_1 = (cut.var_2 * d1 - cut.cov_12 * d2) / determinant;
    double step_2 = (cut.var_1 * d2 - cut.cov_12 * d1) / determinant;
    // Never past half of the way to a flat top.
    const double shrink = std::min(1.0, 0.5 * -eta_2 / std::max(step_2, 1e-300));
    step_1 *= shrink;
    step_2 *= shrink;
    eta_1 += step_1;
    eta_2 += step_2;
    const double window = high - low;
    // Flat over the window: sigma over three windows.
    if (-0.5 / eta_2 > 9 * window * window) return std::nullopt;
    if (std::abs(step_1) < 1e-12 * (std::abs(eta_1) + 1 / window) && std::abs(step_2) < 1e-12 * -eta_2)
      return Normal{eta_1 * -0.5 / eta_2, std::sqrt(-0.5 / eta_2)};
  }
  return std::nullopt;
}

// Estimates from the inverse information at the fitted curve, in the values' own units.
void give_estimates(GaussianCore& core, const Normal& fit, const WindowSums& in, const RunningSums& sums,
                    double low, double high) {
  const CutNormal cut = cut_normal(fit.mu, fit.sigma, low, high);
  const double determinant = in.count * (cut.var_1 * cut.var_2 - cut.cov_12 * cut.cov_12);
  const double c11 = cut.var_2 / determinant;
  const double c12 = -cut.cov_12 / determinant;
  const double c22 = cut.var_1 / determinant;
  // d mu = s^2 d eta_1 + 2 mu s^2 d eta_2, d sigma = s^3 d eta_2.
  const double s2 = fit.sigma * fit.sigma;
  const double m1 = s2;
  const double m2 = 2 * fit.mu * s2;
  const double s = s2 * fit.sigma;
  const double var_mu = m1 * m1 * c11 + 2 * m1 * m2 * c12 + m2 * m2 * c22;
  const double cov = s * (m1 * c12 + m2 * c22);
  const double var_sigma = s * s * c22;
  core.centre = {sums.origin + sums.unit * fit.mu, sums.unit * std::sqrt(var_mu), in.count - 2};
  core.width = {sums.unit * fit.sigma, sums.unit * std::sqrt(var_sigma), in.count - 2};
  // The part inside, p(mu, sigma): dp/dmu = -[phi]/s, dp/dsigma = -[t phi]/s.
  const double p_mu = -(cut.slope_high - cut.slope_low);
  const double p_sigma = -((high - fit.mu) * cut.slope_high - (low - fit.mu) * cut.slope_low) / fit.sigma;
  const double share = in.count / sums.total();
  const double var_p = (p_mu * p_mu * var_mu + 2 * p_mu * p_sigma * cov + p_sigma * p_sigma * var_sigma) /
                       (cut.inside * cut.inside);
  const double fraction = share / cut.inside;
  core.fraction = {fraction, fraction * std::sqrt((1 - share) / in.count + var_p), in.count - 2};
  core.window_low = sums.origin + sums.unit * low;
  core.window_high = sums.origin + sums.unit * high;
  core.inside = static_cast<std::size_t>(in.count);
}

GaussianCore nothing(GaussianCore::Outcome outcome, std::size_t total) {
  GaussianCore core;
  core.outcome = outcome;
  core.centre = core.width = core.fraction = {nan, nan, nan};
  core.window_low = core.window_high = nan;
  core.total = total;
  return core;
}

}  // namespace

std::string_view words_of(GaussianCore::Outcome outcome) {
  switch (outcome) {
    case GaussianCore::Outcome::found:
      return "found";
    case GaussianCore::Outcome::too_few:
      return "too few values";
    case GaussianCore::Outcome::no_spread:
      return "more than half of the values are equal";
    case GaussianCore::Outcome::no_peak:
      return "no peak in the window";
    case GaussianCore::Outcome::not_settled:
      return "the window did not settle";
  }
  return "";
}

GaussianCore fit_gaussian_core(std::span<const double> values, const GaussianCoreOptions& options) {
  const std::vector<double> sorted = finite_sorted(values);
  return fit_gaussian_core(sorted, std::vector<std::uint32_t>(sorted.size(), 1), options);
}

GaussianCore fit_gaussian_core(std::span<const double> sorted, std::span<const std::uint32_t> multiplicity,
                               const GaussianCoreOptions& options) {
  assert(sorted.size() == multiplicity.size());
  if (!(options.window_sigmas >= 1 && options.window_sigmas <= 10))
    throw Error("Gaussian core", fmt::format("a window of {} widths", options.window_sigmas),
                "give 1 to 10 widths");
  std::size_t total = 0;
  for (const std::uint32_t n : multiplicity) total += n;
  if (total < GaussianCore::fewest_values) return nothing(GaussianCore::Outcome::too_few, total);
  const RunningSums sums(sorted, multiplicity);
  if (!(sums.unit > 0)) return nothing(GaussianCore::Outcome::no_spread, total);

  GaussianCore core = nothing(GaussianCore::Outcome::not_settled, total);
  Normal fit;
  for (std::size_t round = 0; round < options.most_rounds; ++round) {
    const double low = fit.mu - options.window_sigmas * fit.sigma;
    const double high = fit.mu + options.window_sigmas * fit.sigma;
    const WindowSums in = sums_in(sums, low, high);
    if (in.count < static_cast<double>(GaussianCore::fewest_values))
      return nothing(GaussianCore::Outcome::too_few, total);
    const std::optional<Normal> next = fit_in(in, low, high, fit);
    if (!next) return nothing(GaussianCore::Outcome::no_peak, total);
    give_estimates(core, *next, in, sums, low, high);
    // One hundredth of the standard error: far below what the figures are good for.
    const double small = 0.01 * fit.sigma / std::sqrt(in.count);
    const bool stands = std::abs(next->mu - fit.mu) < small && std::abs(next->sigma - fit.sigma) < small;
    fit = *next;
    if (stands) {
      core.outcome = GaussianCore::Outcome::found;
      break;
    }
  }
  return core;
}

}  // namespace firstedge
