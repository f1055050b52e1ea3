#include "firstedge/stats/stability_freedom.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// A variance of finite differences as Greenhall and Riley describe it: the order of the differences, whether
// the phase is averaged over the factor, and whether a term stands at every point.
struct Differences {
  int order = 2;
  bool averaging = false;
  bool overlapping = true;
};

// Their s_w: the generalised autocovariance of phase noise at a lag in points. Its sign and factor, and
// polynomials that the differences take away, do not count.
double phase_covariance(double lag, int alpha) {
  const double size = std::abs(lag);
  if (size == 0) return 0;
  return std::pow(size, 3 - alpha) * (alpha % 2 != 0 ? std::log(size) : 1);
}

// Their s_x: the same of frequency averaged over `width` points.
double frequency_covariance(double lag, double width, int alpha) {
  // Further out the second difference would lose its digits; the series is exact to 1e-10.
  constexpr double great_lag = 1000;
  if (alpha == 1 && width == 1 && std::abs(lag) > great_lag)
    return -2 * std::log(std::abs(lag)) - 3 + 1 / (6 * lag * lag);
  return 2 * phase_covariance(lag, alpha) - phase_covariance(lag - width, alpha) -
         phase_covariance(lag + width, alpha);
}

// s_x at lags 0, step, 2 step ...
std::vector<double> frequency_covariances(const Differences& kind, int alpha, std::size_t factor,
                                          std::size_t step, std::size_t count) {
  // Frequency noise at a great factor: their limit, the second derivative in place of the difference, which
  // would lose its digits.
  constexpr std::size_t great_factor = 512;
  const bool limit = !kind.averaging && alpha <= 0 && factor > great_factor;
  const double width = kind.averaging ? static_cast<double>(factor) : 1;
  std::vector<double> values;
  values.reserve(count);
  for (std::size_t i = 0; i < count; ++i) {
    const auto lag = static_cast<double>(i * step);
    values.push_back(limit ? phase_covariance(lag, alpha + 2) : frequency_covariance(lag, width, alpha));
  }
  return values;
}

// Their s_z: the autocovariance of the terms, `apart` entries of the table from each other where tau is
// `tau` entries long.
double term_covariance(const std::vector<double>& frequency, std::size_t apart, std::size_t tau, int order) {
  constexpr std::array<double, 3> second{6, -4, 1};
  constexpr std::array<double, 4> third{20, -15, 6, -1};
  double sum = 0;
  for (std::size_t i = 0; i <= static_cast<std::size_t>(order); ++i) {
    const double weight = order == 2 ? second.at(i) : third.at(i);
    const std::size_t shift = i * tau;
    const double below = frequency[apart > shift ? apart - shift : shift - apart];
    sum += i == 0 ? weight * below : weight * (below + frequency[apart + shift]);
  }
  return sum;
}

double difference_freedom(const Differences& kind, int alpha, std::size_t terms, std::size_t factor) {
  const auto order = static_cast<std::size_t>(kind.order);
  const std::size_t tau = kind.overlapping ? factor : 1;  // entries of the table in one averaging time
  const std::size_t reach = std::min(terms, (order + 1) * tau);
  const std::vector<double> frequency =
      frequency_covariances(kind, alpha, factor, kind.overlapping ? 1 : factor, reach + order * tau + 1);
  const auto squared = [&](std::size_t apart) {
    const double covariance = term_covariance(frequency, apart, tau, kind.order);
    return covariance * covariance;
  };
  const auto count = static_cast<double>(terms);
  double sum = squared(0) + (1 - static_cast<double>(reach) / count) * squared(reach);
  for (std::size_t apart = 1; apart < reach; ++apart)
    sum += 2 * (1 - static_cast<double>(apart) / count) * squared(apart);
  return count * squared(0) / sum;
}

// Below this factor the law of the total deviation gives too many.
constexpr std::size_t smallest_total_factor = 8;

double averaging_times(std::size_t points, std::size_t factor) {
  return static_cast<double>(points - 1) / static_cast<double>(factor);
}

double total_freedom(int alpha, std::size_t points, std::size_t factor) {
  struct Law {
    double b, c;
  };
  constexpr std::array<Law, 3> laws{Law{1.5, 0}, Law{1.168, 0.222}, Law{0.927, 0.358}};
  const Law& law = laws.at(static_cast<std::size_t>(-alpha));
  return law.b * averaging_times(points, factor) - law.c;
}

}  // namespace

double degrees_of_freedom(StabilityMeasure measure, PowerLaw noise, std::size_t points, std::size_t factor) {
  const std::size_t terms = stability_terms(measure, points, factor);
  if (terms == 0) return nan;
  const int alpha = static_cast<int>(noise);
  const int at_least_walk = std::max(alpha, -2);
  const auto differences = [&](const Differences& kind) {
    return std::max(1.0, difference_freedom(kind, kind.order == 2 ? at_least_walk : alpha, terms, factor));
  };
  switch (measure) {
    case StabilityMeasure::allan:
      return differences({.overlapping = false});
    case StabilityMeasure::overlapping_allan:
      return differences({});
    case StabilityMeasure::modified_allan:
    case StabilityMeasure::time:
      return differences({.averaging = true});
    case StabilityMeasure::hadamard:
      return differences({.order = 3, .overlapping = false});
    case StabilityMeasure::overlapping_hadamard:
      return differences({.order = 3});
    case StabilityMeasure::total: {
      if (alpha > 0) return nan;
      const double law = total_freedom(at_least_walk, points, factor);
      const double plain = degrees_of_freedom(StabilityMeasure::overlapping_allan, noise, points, factor);
      return std::max(1.0, factor < smallest_total_factor ? std::min(law, plain) : law);
    }
    default:
      return nan;
  }
}

double total_variance_bias(PowerLaw noise, std::size_t points, std::size_t factor) {
  constexpr std::array<double, 3> slopes{0, 0.481, 0.75};
  const int alpha = std::max(static_cast<int>(noise), -2);
  if (alpha > 0) return 1;
  return 1 - slopes.at(static_cast<std::size_t>(-alpha)) / averaging_times(points, factor);
}

}  // namespace firstedge
