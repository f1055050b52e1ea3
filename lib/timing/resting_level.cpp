#include "firstedge/timing/resting_level.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/crossing_weights.hpp"

#include <algorithm>
#include <cmath>
#include <span>

namespace firstedge {
namespace {

constexpr std::size_t fewest = 8;
constexpr double most_deviations = 4.5;
static_assert(fewest == lanes && most_resting_samples <= groups_at_once * lanes);

// The direction of a straight line through n values that rises, of length 1, at value k: rise * (k - middle).
double rise_of(double n) {
  return std::sqrt(12 / (n * (n * n - 1)));
}

// The sum over blocks of the line's two directions (even, rising) with themselves, `apart` of n blocks apart;
// in closed form.
double line_products(double n, double apart) {
  const double pairs = n - apart, rise = rise_of(n);
  return pairs / n + rise * rise * pairs * ((pairs * pairs - 1) / 12 - apart * apart / 4);
}

// Squared distances of values from the straight line that fits them best, summed up.
double scatter_of(std::span<const double> values) {
  const auto n = static_cast<double>(values.size());
  const double even = sum_of(values) / std::sqrt(n);
  const double risen = rise_of(n) * sum_by_place(values, 0, 0.5 * (n - 1));
  return sum_of_products(values, values) - even * even - risen * risen;
}

// The samples in front of a pulse, in the noise there.
class Judge {
 public:
  Judge(std::span<const double> volts, const RestingNoise& noise, double variance_v2, double baseline_v2)
      : volts_(volts), noise_(noise), variance_v2_(variance_v2), baseline_v2_(baseline_v2) {
    const std::size_t whole = volts.size() - volts.size() % fewest;
    eights_ = sums_of_groups(volts.last(whole));
    sums_[0] = 0;
    for (std::size_t k = 0; k < whole / fewest; ++k)
      sums_[k + 1] = sums_[k] + eights_[whole / fewest - 1 - k];
  }

  bool mean_is_zero(std::size_t samples) const {
    const double variance_v2 = noise_.of_means_v2(samples, 0, variance_v2_) + baseline_v2_;
    return std::abs(sum_of_last(samples)) <=
           most_deviations * std::sqrt(variance_v2) * static_cast<double>(samples);
  }

  // Within the noise, or so far that the drift does no harm.
  bool halves_agree(std::size_t samples, double harmless_v_per_sample) const {
    const std::size_t half = samples / 2;
    const auto n = static_cast<double>(half);
    const double later = sum_of_last(half);
    const double earlier =
        samples % (2 * fewest) == 0 ? sum_of_last(samples) - later : sum_of(volts_.last(samples).first(half));
    const double variance_v2 =
        2 * (noise_.of_means_v2(half, 0, variance_v2_) - noise_.of_means_v2(half, 1, 0));
    return std::abs(earlier - later) / n <=
           std::max(most_deviations * std::sqrt(std::max(variance_v2, 0.0)), harmless_v_per_sample * n);
  }

  // Of the samples, and of the means of eights of them, about a straight line.
  bool scatter_is_noise() const {
    if (!is_noise(scatter_of(volts_), 1, volts_.size())) return false;
    const std::size_t blocks = volts_.size() / fewest;
    const auto sums = volts_.size() % fewest == 0 ? eights_ : sums_of_groups(volts_.first(blocks * fewest));
    constexpr double samples2 = fewest * fewest;
    return is_noise(scatter_of(std::span(sums).first(blocks)) / samples2, fewest, blocks);
  }

 private:
  double sum_of_last(std::size_t samples) const {
    return samples % fewest == 0 ? sums_[samples / fewest] : sum_of(volts_.last(samples));
  }

  bool is_noise(double scatter_v2, std::size_t block, std::size_t blocks) const {
    constexpr std::size_t fewest_blocks = 4;
    if (blocks < fewest_blocks) return true;
    const RestingNoise::Scatter scatter = noise_.scatter(block, blocks, variance_v2_);
    if (!(scatter.expected_v2 > 0)) return true;
    const double spread2 = scatter.relative_variance / 9;
    const double most = 1 - spread2 + most_deviations * std::sqrt(spread2);  // of the cube root
    return scatter_v2 <= scatter.expected_v2 * most * most * most;
  }

  std::span<const double> volts_;
  const RestingNoise& noise_;
  double variance_v2_, baseline_v2_;
  std::array<double, groups_at_once> eights_{};    // sums of eight samples, as many as are whole, to the last
  std::array<double, groups_at_once + 1> sums_{};  // [k]: of the last k of them
};

}  // namespace

RestingNoise::RestingNoise(ChannelNoise noise)
    : noise_(std::move(noise)),
      of_samples_(shares(1, most_resting_samples)),
      of_eights_(shares(fewest, most_resting_samples / fewest)) {}

double RestingNoise::of_means_v2(std::size_t block, std::size_t apart, double variance_v2) const {
  const auto n = static_cast<double>(block);
  if (apart == 0) return variance_v2 / n + noise_.shared_in_sum(block) / (n * n);
  if (block == 1) return noise_.model().covariance_v2(apart);
  // The variance of a sum of neighbouring blocks holds the covariance of the outermost twice.
  const auto shared = [&](std::size_t blocks) { return noise_.shared_in_sum(blocks * block); };
  return (shared(apart + 1) - 2 * shared(apart) + shared(apart - 1)) / (2 * n * n);
}

RestingNoise::Shares RestingNoise::shares(std::size_t block, std::size_t blocks) const {
  const auto n = static_cast<double>(blocks);
  Shares sums;
  for (std::size_t apart = 1; apart < blocks; ++apart) {
    const double covariance_v2 = of_means_v2(block, apart, 0);
    if (covariance_v2 == 0) continue;
    sums.expected_v2 -= 2 * covariance_v2 * line_products(n, static_cast<double>(apart));
    sums.squares_v4 += 2 * covariance_v2 * covariance_v2 * (n - static_cast<double>(apart));
  }
  return sums;
}

RestingNoise::Scatter RestingNoise::scatter(std::size_t block, std::size_t blocks, double variance_v2) const {
  const bool longest = blocks * block == most_resting_samples;
  const Shares others = longest ? (block == 1 ? of_samples_ : of_eights_) : shares(block, blocks);
  const auto n = static_cast<double>(blocks);
  const double own_v2 = of_means_v2(block, 0, variance_v2);
  const double expected_v2 = own_v2 * (n - line_products(n, 0)) + others.expected_v2;
  return {.expected_v2 = expected_v2,
          .relative_variance = 2 * (own_v2 * own_v2 * n + others.squares_v4) / (expected_v2 * expected_v2)};
}

RestingLevel level_in_front(const ConditionedTrace& trace, const RestingNoise& noise, const Pulse& pulse,
                            std::size_t begin) {
  constexpr std::size_t foot_samples = 2;
  const std::size_t first = std::min(pulse.region.first, trace.volts.size());
  const std::size_t end = first - std::min(first, foot_samples);
  const double deviation_v = SampleNoise(noise.noise(), trace).deviation_v();
  if (end < begin + fewest || !(deviation_v > 0)) return {};
  const std::size_t available = std::min(end - begin, most_resting_samples);
  const double level_v = trace.baseline_v.uncertainty;
  const Judge judge(std::span(trace.volts).subspan(end - available, available), noise,
                    deviation_v * deviation_v, std::isfinite(level_v) ? level_v * level_v : 0);
  // Half a standard deviation over the length of the pulse moves no time by more than a third of its
  // uncertainty (tests/acceptance/traps).
  const double harmless_v_per_sample =
      0.5 * deviation_v / static_cast<double>(std::max<std::size_t>(pulse.region.size(), 1));
  RestingLevel level;
  const auto look_at = [&](std::size_t samples) {
    level.at_baseline = level.at_baseline && judge.mean_is_zero(samples);
    level.steady =
        level.steady && (samples < 2 * fewest || judge.halves_agree(samples, harmless_v_per_sample));
  };
  for (std::size_t samples = fewest; samples < available; samples *= 2) look_at(samples);
  look_at(available);
  level.steady = level.steady && judge.scatter_is_noise();
  return level;
}

}  // namespace firstedge
