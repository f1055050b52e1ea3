#include "firstedge/signal/interpolation.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace firstedge {
namespace {

constexpr double no_number = std::numeric_limits<double>::quiet_NaN();

std::size_t samples_of(Interpolation interpolation) {
  switch (interpolation) {
    case Interpolation::linear:
      return 2;
    case Interpolation::cubic:
      return 4;
    case Interpolation::quintic:
      return 6;
  }
  return 2;
}

/// The products of the distances of each point to the others.
constexpr std::array<double, Stencil::largest> lagrange_divisors(std::size_t size) {
  std::array<double, Stencil::largest> products{};
  for (std::size_t i = 0; i < size; ++i) {
    products[i] = 1;
    for (std::size_t j = 0; j < size; ++j) {
      if (j != i) products[i] *= static_cast<double>(i) - static_cast<double>(j);
    }
  }
  return products;
}
constexpr std::array<std::array<double, Stencil::largest>, Stencil::largest + 1> all_divisors = [] {
  std::array<std::array<double, Stencil::largest>, Stencil::largest + 1> all{};
  for (std::size_t size = 1; size <= Stencil::largest; ++size) all[size] = lagrange_divisors(size);
  return all;
}();

/// Lagrange weights of `size` samples at 0, 1, 2, ... for the position x.
std::array<double, Stencil::largest> lagrange_weights(std::size_t size, double x) {
  std::array<double, Stencil::largest> weights{};
  double before = 1;  // product of the distances to the samples before i
  for (std::size_t i = 0; i < size; ++i) {
    weights[i] = before;
    before *= x - static_cast<double>(i);
  }
  double after = 1;
  for (std::size_t i = size; i-- > 0;) {
    weights[i] = weights[i] * after / all_divisors[size][i];
    after *= x - static_cast<double>(i);
  }
  return weights;
}

/// n over k for the small numbers met here.
constexpr double binomial(std::size_t n, std::size_t k) {
  double value = 1;
  for (std::size_t i = 1; i <= k; ++i)
    value = value * static_cast<double>(n - k + i) / static_cast<double>(i);
  return value;
}
/// Differences of order m of white noise of deviation s have the variance s^2 times this.
constexpr std::array<double, Stencil::largest + 2> difference_gains = [] {
  std::array<double, Stencil::largest + 2> gains{};
  for (std::size_t m = 0; m < gains.size(); ++m) gains[m] = binomial(2 * m, m);
  return gains;
}();

/// Finite differences of one order over the neighbourhood of a bracket, which starts at sample `first`.
class Differences {
 public:
  /// Of order 0: the values themselves.
  Differences(std::span<const double> values, std::size_t first, std::size_t last)
      : first_(first), count_(last - first) {
    std::copy_n(values.data() + first, count_, table_.begin());
  }
  /// Those of `orders` orders more.
  Differences raised(std::size_t orders) const {
    Differences next = *this;
    for (; orders > 0 && next.count_ > 0; --orders, ++next.order_, --next.count_)
      for (std::size_t i = 0; i + 1 < table_.size(); ++i)
        next.table_[i] = next.table_[i + 1] - next.table_[i];
    return next;
  }
  bool has(std::size_t first) const { return first >= first_ && first - first_ < count_; }
  /// The square of the one that starts at a sample, less what noise puts into it on average; NaN if a sample
  /// in it is.
  double square_over_noise(std::size_t first, double noise_rms) const {
    const double difference = table_[first - first_];
    const double excess = difference * difference - difference_gains[order_] * noise_rms * noise_rms;
    return excess <= 0 ? 0 : excess;  // NaN stays NaN
  }

 private:
  /// Samples of the widest neighbourhood: six runs of six samples, and two more on either side; the table is
  /// differenced as a whole, whatever stands behind the last of them.
  static constexpr std::size_t widest = 2 * Stencil::largest + 2;

  std::size_t first_;
  std::size_t count_;
  std::size_t order_ = 0;
  std::array<double, widest + 2> table_{};
};

/// How wrong the value at x of a run of `size` samples is: the factor of the next derivative (the product of
/// the distances to the samples over size!), and the share of the noise of a sample in it, squared.
struct ErrorFactors {
  double of_derivative, of_noise2;
};
constexpr std::array<double, Stencil::largest + 1> inverse_factorials{1,        1,         1.0 / 2,  1.0 / 6,
                                                                      1.0 / 24, 1.0 / 120, 1.0 / 720};
constexpr std::array<std::array<double, Stencil::largest>, Stencil::largest + 1> inverse_divisors = [] {
  auto all = all_divisors;
  for (auto& of_size : all)
    for (double& one : of_size)
      if (one != 0) one = 1 / one;
  return all;
}();
ErrorFactors error_factors(std::size_t size, double x) {
  std::array<double, Stencil::largest> before{};
  double product = 1;
  for (std::size_t i = 0; i < size; ++i) {
    before[i] = product;
    product *= x - static_cast<double>(i);
  }
  double after = 1, squares = 0;
  for (std::size_t i = size; i-- > 0;) {
    const double weight = before[i] * after * inverse_divisors[size][i];
    squares += weight * weight;
    after *= x - static_cast<double>(i);
  }
  return {product * inverse_factorials[size], squares};
}

/// The roughness of the run [first, first + size): the next two differences on its smoother side, squared.
double roughness(const Differences& next, const Differences& second_next, std::size_t first,
                 double noise_rms) {
  double least = std::numeric_limits<double>::infinity();
  const auto side = [&](bool exists, std::size_t one, std::size_t two, bool two_exists) {
    if (!exists) return;
    double square = next.square_over_noise(one, noise_rms);
    if (two_exists) square += second_next.square_over_noise(two, noise_rms);
    if (square < least) least = square;  // false for NaN
  };
  side(next.has(first), first, first, second_next.has(first));
  side(first >= 1 && next.has(first - 1), first - 1, first - 2, first >= 2 && second_next.has(first - 2));
  return least;
}

/// The first sample of the run of `size` samples around the bracket (before, before + 1) that interpolates
/// best at `fraction` between them.
std::size_t best_run(std::span<const double> values, std::size_t before, double fraction, std::size_t size,
                     double noise_rms) {
  const std::size_t lowest = before + 2 > size ? before + 2 - size : 0;
  const std::size_t highest = std::min(before, values.size() - size);
  if (lowest >= highest) return highest;
  const std::size_t from = lowest >= 2 ? lowest - 2 : 0;
  const std::size_t to = std::min(values.size(), highest + size + 2);
  const Differences next = Differences(values, from, to).raised(size);
  const Differences second_next = next.raised(1);

  const std::size_t centred = std::clamp(before + 1 >= size / 2 ? before + 1 - size / 2 : 0, lowest, highest);
  std::size_t best = centred;
  double least = std::numeric_limits<double>::infinity();
  const auto consider = [&](std::size_t first) {
    const auto [factor, gain] = error_factors(size, static_cast<double>(before - first) + fraction);
    const double error =
        factor * factor * roughness(next, second_next, first, noise_rms) + noise_rms * noise_rms * gain;
    if (error < least) {
      least = error;
      best = first;
    }
  };
  consider(centred);  // first, so that it wins ties
  for (std::size_t first = lowest; first <= highest; ++first) {
    if (first != centred) consider(first);
  }
  return best;
}

/// The polynomial through a run of samples in Newton's form, with its derivative.
class NewtonPolynomial {
 public:
  explicit NewtonPolynomial(std::span<const double> run) : size_(run.size()) {
    std::copy(run.begin(), run.end(), coefficients_.begin());
    for (std::size_t order = 1; order < size_; ++order) {
      const double share = 1 / static_cast<double>(order);
      for (std::size_t i = size_ - 1; i >= order; --i)
        coefficients_[i] = (coefficients_[i] - coefficients_[i - 1]) * share;
    }
  }
  struct Point {
    double value, slope;
  };
  Point at(double x) const {
    Point point{coefficients_[size_ - 1], 0};
    for (std::size_t i = size_ - 1; i-- > 0;) {
      const double distance = x - static_cast<double>(i);
      point.slope = point.slope * distance + point.value;
      point.value = point.value * distance + coefficients_[i];
    }
    return point;
  }

 private:
  std::size_t size_;
  std::array<double, Stencil::largest> coefficients_{};
};

/// The root of polynomial - level between offset and offset + 1, where it changes from one side to the other:
/// Newton steps kept inside a shrinking bracket.
double root_in_bracket(const NewtonPolynomial& polynomial, double level, double offset, double guess,
                       bool rising) {
  constexpr int most_steps = 100;  // bisection alone needs 53
  double low = 0, high = 1, x = guess;
  for (int step = 0; step < most_steps; ++step) {
    const auto [value, slope] = polynomial.at(offset + x);
    const double miss = value - level;
    if (miss == 0) break;
    ((miss < 0) == rising ? low : high) = x;
    double next = x - miss / slope;
    if (!(next > low && next < high)) next = low + 0.5 * (high - low);
    const bool settled = std::abs(next - x) <= std::numeric_limits<double>::epsilon();
    x = next;
    if (settled || x <= low || x >= high) break;
  }
  return x;
}

/// Where the polynomial through the best run of samples crosses a level.
struct RunCrossing {
  std::size_t first, size;  ///< of the run
  NewtonPolynomial polynomial;
  double place;     ///< of the crossing in the run
  double fraction;  ///< and between the samples of the bracket
};

std::optional<RunCrossing> crossing_in_bracket(std::span<const double> values, std::size_t before,
                                               double level, Interpolation interpolation, double noise_rms) {
  if (values.size() < 2 || before >= values.size() - 1) return std::nullopt;
  const double left = values[before] - level;
  const double right = values[before + 1] - level;
  const bool brackets = (left <= 0 && right >= 0) || (left >= 0 && right <= 0);  // false for NaN
  if (!brackets || left == right || !std::isfinite(right - left)) return std::nullopt;

  const double guess = left / (left - right);
  const std::size_t size = std::min(samples_of(interpolation), values.size());
  const std::size_t first = best_run(values, before, guess, size, noise_rms);
  const NewtonPolynomial polynomial(values.subspan(first, size));
  const auto offset = static_cast<double>(before - first);
  double fraction = guess;
  if (left != 0 && right != 0) fraction = root_in_bracket(polynomial, level, offset, guess, left < 0);
  return RunCrossing{first, size, polynomial, offset + fraction, fraction};
}

}  // namespace

Stencil stencil_at(std::span<const double> values, double position, Interpolation interpolation,
                   double noise_rms) {
  if (values.empty() || std::isnan(position)) return {};
  if (values.size() == 1) return {.first = 0, .size = 1, .weights = {1}};
  const double place = std::clamp(position, 0.0, static_cast<double>(values.size() - 1));
  const std::size_t before = std::min(static_cast<std::size_t>(place), values.size() - 2);
  const double fraction = place - static_cast<double>(before);
  Stencil stencil;
  stencil.size = std::min(samples_of(interpolation), values.size());
  stencil.first = best_run(values, before, fraction, stencil.size, noise_rms);
  stencil.weights = lagrange_weights(stencil.size, static_cast<double>(before - stencil.first) + fraction);
  return stencil;
}

std::optional<Crossing> find_crossing(std::span<const double> values, std::size_t before, double level,
                                      Interpolation interpolation, double noise_rms) {
  const auto found = crossing_in_bracket(values, before, level, interpolation, noise_rms);
  if (!found) return std::nullopt;
  return Crossing{.position = static_cast<double>(before) + found->fraction,
                  .slope_per_sample = found->polynomial.at(found->place).slope,
                  .stencil = {.first = found->first,
                              .size = found->size,
                              .weights = lagrange_weights(found->size, found->place)}};
}

std::optional<double> crossing_position(std::span<const double> values, std::size_t before, double level,
                                        Interpolation interpolation, double noise_rms) {
  const auto found = crossing_in_bracket(values, before, level, interpolation, noise_rms);
  if (!found) return std::nullopt;
  return static_cast<double>(before) + found->fraction;
}

double interpolated(std::span<const double> values, double position, Interpolation interpolation,
                    double noise_rms) {
  const Stencil stencil = stencil_at(values, position, interpolation, noise_rms);
  if (stencil.size == 0) return no_number;
  double value = 0;
  for (std::size_t i = 0; i < stencil.size; ++i) value += stencil.weights[i] * values[stencil.first + i];
  return value;
}

}  // namespace firstedge
