#include "firstedge/compare/amplification.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr std::size_t fewest_records = 20;
// 10-90 % transition duration times the -3 dB frequency of a Gaussian response (derived).
constexpr double gaussian_time_band = 0.339624446254;

// The finite values of a column, sorted, with the rows they stand in: quantiles of any resample of the rows.
class Sorted {
 public:
  explicit Sorted(const std::vector<double>& values) {
    for (std::size_t row = 0; row < values.size(); ++row) {
      if (std::isfinite(values[row])) rows_.push_back(row);
    }
    std::stable_sort(rows_.begin(), rows_.end(),
                     [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
    for (const std::size_t row : rows_) sorted_.push_back(values[row]);
  }
  double quantile(std::span<const std::uint32_t> multiplicity, double p) const {
    std::vector<std::uint32_t> own;
    own.reserve(rows_.size());
    for (const std::size_t row : rows_) own.push_back(multiplicity[row]);
    return quantile_of_sorted(sorted_, own, p);
  }
  double median(std::span<const std::uint32_t> multiplicity) const { return quantile(multiplicity, 0.5); }

 private:
  std::vector<std::size_t> rows_;
  std::vector<double> sorted_;
};

template <class Function>
std::vector<double> row_by_row(std::size_t rows, Function function) {
  std::vector<double> values(rows);
  for (std::size_t row = 0; row < rows; ++row) values[row] = function(row);
  return values;
}

std::vector<double> ranks_of(const std::vector<double>& values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
  std::vector<double> ranks(values.size());
  for (std::size_t i = 0; i < order.size(); ++i) ranks[order[i]] = static_cast<double>(i);
  return ranks;
}

// C. Spearman's coefficient without ties, Am. J. Psychol. 15 (1904) 72.
double rank_correlation(const std::vector<double>& a, const std::vector<double>& b) {
  std::vector<double> both_a, both_b;
  for (std::size_t row = 0; row < a.size(); ++row) {
    if (!std::isfinite(a[row]) || !std::isfinite(b[row])) continue;
    both_a.push_back(a[row]);
    both_b.push_back(b[row]);
  }
  const std::vector<double> ranks_a = ranks_of(both_a), ranks_b = ranks_of(both_b);
  double squares = 0;
  for (std::size_t i = 0; i < ranks_a.size(); ++i) squares += std::pow(ranks_a[i] - ranks_b[i], 2);
  const auto n = static_cast<double>(ranks_a.size());
  return 1 - 6 * squares / (n * (n * n - 1));
}

std::size_t check(const AmplifierInput& input) {
  const std::size_t rows = input.delay_s.size();
  std::size_t both = 0;
  for (const AmplifierSide* side : {&input.bare, &input.amplified}) {
    if (side->height_v.size() != rows || side->clipped.size() != rows || side->transition_s.size() != rows ||
        side->uncertainty_s.size() != rows || input.difference_s.size() != rows)
      throw Error("comparison", "the columns differ in length", "give every column a row a record");
  }
  for (std::size_t row = 0; row < rows; ++row)
    both += std::isfinite(input.bare.height_v[row]) && std::isfinite(input.amplified.height_v[row]) ? 1 : 0;
  if (both < fewest_records)
    throw Error(fmt::format("channels '{}' and '{}'", input.bare.channel, input.amplified.channel),
                fmt::format("only {} records have a pulse in both", both),
                "check which channel is which, and that both see the same particle");
  return both;
}

double root(double square) {
  return square >= 0 ? std::sqrt(square) : nan;
}

// In the order of `figures_of`.
enum Figure : std::size_t {
  gain,
  bare_transition,
  amplified_transition,
  own_transition,
  bare_factor,
  amplified_factor,
  rest,
  pays_below,
  delay,
  figure_count
};

double pays_below_of(double bare_factor_v_s, double amplified_factor_v_s, double rest_s) {
  const double more = std::pow(1 + Amplification::worth, 2);
  const double advantage = std::pow(bare_factor_v_s, 2) - more * std::pow(amplified_factor_v_s, 2);
  if (std::isnan(advantage)) return nan;
  if (advantage <= 0) return 0;
  return rest_s > 0 ? std::sqrt(advantage / (more - 1)) / rest_s : infinity;
}

bool usable_ratio(const AmplifierInput& input, std::size_t row) {
  return input.bare.clipped[row] == 0 && input.amplified.clipped[row] == 0 && input.bare.height_v[row] > 0;
}

// What the bootstrap draws again and again.
struct Columns {
  Sorted bare_height, amplified_height, ratio, bare_transition, amplified_transition, bare_factor,
      amplified_product, difference, noise_variance, delay;
};

Columns columns_of(const AmplifierInput& in) {
  const std::size_t rows = in.delay_s.size();
  // Heights of records with both pulses: a sensor that misses small signals would shift the ratio otherwise.
  const auto both = [&](const std::vector<double>& mine, const std::vector<double>& other) {
    return Sorted(row_by_row(rows, [&](std::size_t r) { return std::isfinite(other[r]) ? mine[r] : nan; }));
  };
  const auto product = [&](const AmplifierSide& side) {
    return Sorted(row_by_row(rows, [&](std::size_t r) {
      return side.clipped[r] != 0 ? nan : side.uncertainty_s[r] * side.height_v[r];
    }));
  };
  return {.bare_height = both(in.bare.height_v, in.amplified.height_v),
          .amplified_height = both(in.amplified.height_v, in.bare.height_v),
          .ratio = Sorted(row_by_row(rows,
                                     [&](std::size_t r) {
                                       return usable_ratio(in, r)
                                                  ? in.amplified.height_v[r] / in.bare.height_v[r]
                                                  : nan;
                                     })),
          .bare_transition = Sorted(in.bare.transition_s),
          .amplified_transition = Sorted(in.amplified.transition_s),
          .bare_factor = product(in.bare),
          .amplified_product = product(in.amplified),
          .difference = Sorted(in.difference_s),
          .noise_variance = Sorted(row_by_row(rows,
                                              [&](std::size_t r) {
                                                return std::isfinite(in.difference_s[r])
                                                           ? std::pow(in.bare.uncertainty_s[r], 2) +
                                                                 std::pow(in.amplified.uncertainty_s[r], 2)
                                                           : nan;
                                              })),
          .delay = Sorted(in.delay_s)};
}

std::vector<double> figures_of(const Columns& columns, bool one_signal,
                               std::span<const std::uint32_t> times) {
  std::vector<double> found(figure_count, nan);
  found[gain] = one_signal ? columns.ratio.median(times)
                           : columns.amplified_height.median(times) / columns.bare_height.median(times);
  found[bare_transition] = columns.bare_transition.median(times);
  found[amplified_transition] = columns.amplified_transition.median(times);
  found[own_transition] =
      root(std::pow(found[amplified_transition], 2) - std::pow(found[bare_transition], 2));
  found[bare_factor] = columns.bare_factor.median(times);
  found[amplified_factor] = columns.amplified_product.median(times) / found[gain];
  constexpr double tail = 0.5 * (1 - share_within_one_sigma);
  const double width =
      0.5 * (columns.difference.quantile(times, 1 - tail) - columns.difference.quantile(times, tail));
  // Half a pair's variance without noise; medians on both sides, since wild records must not decide.
  found[rest] = std::sqrt(std::max(0.0, 0.5 * (width * width - columns.noise_variance.median(times))));
  found[pays_below] = pays_below_of(found[bare_factor], found[amplified_factor], found[rest]);
  found[delay] = columns.delay.median(times);
  return found;
}

Estimate quotient(const Estimate& a, const Estimate& b) {
  const double value = a.value / b.value;
  return {value, std::abs(value) * std::hypot(a.uncertainty / a.value, b.uncertainty / b.value)};
}

void give_noise(Amplification& found, const AmplifierInput& input) {
  found.bare_noise_v = moments(input.bare.noise_v).deviation;
  found.amplified_noise_v = moments(input.amplified.noise_v).deviation;
  found.referred_noise_v = quotient(found.amplified_noise_v, found.gain);
  found.noise_ratio = quotient(found.referred_noise_v, found.bare_noise_v);
  const double carried = found.gain.value * found.bare_noise_v.value;
  const double added = root(std::pow(found.amplified_noise_v.value, 2) - carried * carried);
  const double carried_relative = std::hypot(found.gain.uncertainty / found.gain.value,
                                             found.bare_noise_v.uncertainty / found.bare_noise_v.value);
  found.added_noise_v = {added,
                         std::hypot(found.amplified_noise_v.value * found.amplified_noise_v.uncertainty,
                                    carried * carried * carried_relative) /
                             added};
}

// The ratio of the signal powers, noise taken away, while both stand clearly over their noise.
std::vector<double> power_ratio(const AmplifierInput& input) {
  constexpr double clear = 3;
  const std::vector<double>&bare = input.bare.signal.density_v2_per_hz,
        &bare_noise = input.bare.noise.density_v2_per_hz, &high = input.amplified.signal.density_v2_per_hz,
        &high_noise = input.amplified.noise.density_v2_per_hz;
  std::vector<double> ratio;
  if (bare.size() != high.size() || bare_noise.size() != bare.size() || high_noise.size() != bare.size())
    return ratio;
  if (input.bare.signal.frequency_hz != input.amplified.signal.frequency_hz) return ratio;
  for (std::size_t i = 0; i < bare.size(); ++i) {
    if (i > 0 && !(bare[i] > clear * bare_noise[i] && high[i] > clear * high_noise[i])) break;
    ratio.push_back((high[i] - high_noise[i]) / (bare[i] - bare_noise[i]));
  }
  return ratio;
}

// The ratio at 0 Hz by a straight line of its logarithm against frequency squared over lines 2 to `last`
// (exact for a Gaussian response); line 0 is the mean, and line 1 shares in it by the window.
double level_at_zero(const std::vector<double>& ratio, const std::vector<double>& frequency,
                     std::size_t last) {
  double n = 0, x = 0, y = 0, xx = 0, xy = 0;
  for (std::size_t i = 2; i <= last; ++i) {
    const double square = frequency[i] * frequency[i], logarithm = std::log(ratio[i]);
    n += 1;
    x += square;
    y += logarithm;
    xx += square * square;
    xy += square * logarithm;
  }
  const double slope = (n * xy - x * y) / (n * xx - x * x);
  return std::exp((y - slope * x) / n);
}

Estimate band_by_spectra(const AmplifierInput& input) {
  const std::vector<double> ratio = power_ratio(input);
  const std::vector<double>& frequency = input.bare.signal.frequency_hz;
  for (std::size_t i = 4; i < ratio.size(); ++i) {
    const double half = 0.5 * level_at_zero(ratio, frequency, i);
    if (ratio[i] > half) continue;
    const double bin = frequency[1];
    const double share = (ratio[i - 1] - half) / (ratio[i - 1] - ratio[i]);
    return {frequency[i - 1] + std::clamp(share, 0.0, 1.0) * bin, bin / std::sqrt(12.0)};
  }
  return {nan, nan};
}

double saturation_of(const AmplifierSide& side) {
  double lowest = infinity;
  for (std::size_t row = 0; row < side.clipped.size(); ++row) {
    if (side.clipped[row] != 0 && side.height_v[row] > 0) lowest = std::min(lowest, side.height_v[row]);
  }
  return lowest;
}

Estimate share_clipped(const AmplifierSide& side) {
  std::uint64_t pulses = 0, clipped = 0;
  for (std::size_t row = 0; row < side.clipped.size(); ++row) {
    if (!std::isfinite(side.height_v[row])) continue;
    ++pulses;
    clipped += side.clipped[row] != 0 ? 1 : 0;
  }
  return share_of(clipped, pulses);
}

void give_saturation(Amplification& found, const AmplifierInput& input) {
  found.bare_clipped = share_clipped(input.bare);
  found.amplified_clipped = share_clipped(input.amplified);
  found.bare_saturates_v = saturation_of(input.bare);
  found.amplified_saturates_v = saturation_of(input.amplified) / found.gain.value;
  std::uint64_t below = 0, pulses = 0;
  for (const double height : input.bare.height_v) {
    pulses += std::isfinite(height) ? 1 : 0;
    below += height < found.amplified_saturates_v ? 1 : 0;
  }
  found.bare_below_saturation = share_of(below, pulses);
}

}  // namespace

double spread_at(double signal_v, double factor_v_s, double rest_s) {
  return std::hypot(factor_v_s / signal_v, rest_s);
}

Amplification amplification_of(const AmplifierInput& input, const BootstrapOptions& options) {
  Amplification found;
  found.records = check(input);
  found.height_correlation = rank_correlation(input.bare.height_v, input.amplified.height_v);
  const Columns columns = columns_of(input);
  const Bootstrap drawn = bootstrap(
      input.delay_s.size(),
      [&](std::span<const std::uint32_t> times) { return figures_of(columns, found.one_signal(), times); },
      options);
  const auto freedom = static_cast<double>(found.records - 1);
  const auto estimate = [&](Figure figure) {
    return Estimate{drawn.figures[figure].value, drawn.figures[figure].standard_error, freedom};
  };
  found.gain = estimate(gain);
  found.bare_transition_s = estimate(bare_transition);
  found.amplified_transition_s = estimate(amplified_transition);
  found.own_transition_s = estimate(own_transition);
  found.band_by_transition_hz = {
      gaussian_time_band / found.own_transition_s.value,
      gaussian_time_band / std::pow(found.own_transition_s.value, 2) * found.own_transition_s.uncertainty};
  found.band_by_spectra_hz = band_by_spectra(input);
  found.bare_factor_v_s = estimate(bare_factor);
  found.amplified_factor_v_s = estimate(amplified_factor);
  found.rest_s = estimate(rest);
  found.pays_below_v = estimate(pays_below);
  found.added_delay_s = estimate(delay);
  found.typical_signal_v = median(input.bare.height_v);
  const auto at_typical = [&](const Estimate& factor) {
    return Estimate{factor.value / found.typical_signal_v, factor.uncertainty / found.typical_signal_v,
                    freedom};
  };
  found.bare_spread_s = at_typical(found.bare_factor_v_s);
  found.amplified_spread_s = at_typical(found.amplified_factor_v_s);
  give_noise(found, input);
  give_saturation(found, input);
  return found;
}

}  // namespace firstedge
