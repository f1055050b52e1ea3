#include "firstedge/timing/resting_level.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/timing/crossing_weights.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

namespace firstedge {
namespace {

constexpr std::size_t fewest = 8;
constexpr double most_deviations = 4.5;

double mean_of(std::span<const double> values) {
  return sum_of(values) / static_cast<double>(values.size());
}

/// Covariances of the means of blocks of samples, by the distance of the blocks, for `blocks` of them.
std::vector<double> covariances_of_means(const NoiseModel& model, double variance_v2, std::size_t block,
                                         std::size_t blocks) {
  std::vector<double> covariances(blocks);
  const auto size = static_cast<std::ptrdiff_t>(block);
  const auto lags = static_cast<std::ptrdiff_t>(std::max<std::size_t>(model.autocovariance_v2.size(), 1));
  for (std::size_t k = 0; k < blocks; ++k) {
    const std::ptrdiff_t apart = static_cast<std::ptrdiff_t>(k) * size;
    for (std::ptrdiff_t d = std::max(1 - size, 1 - lags - apart); d < std::min(size, lags - apart); ++d) {
      const std::ptrdiff_t lag = std::abs(apart + d);
      const double covariance = lag == 0 ? variance_v2 : model.covariance_v2(static_cast<std::size_t>(lag));
      covariances[k] += static_cast<double>(size - std::abs(d)) * covariance;
    }
    covariances[k] /= static_cast<double>(size * size);
  }
  return covariances;
}

/// The noise in front of a pulse: of means, of differences, and of scatter.
class Judge {
 public:
  Judge(const ConditionedTrace& trace, const NoiseModel& model)
      : model_(model), variance_v2_(std::pow(SampleNoise(model, trace).deviation_v(), 2)) {
    const double baseline_v = trace.baseline_v.uncertainty;
    if (std::isfinite(baseline_v)) baseline_v2_ = baseline_v * baseline_v;
  }

  bool knows() const { return variance_v2_ > 0; }
  double deviation_v() const { return std::sqrt(variance_v2_); }

  bool mean_is_zero(std::span<const double> volts) const {
    const double variance_v2 = covariances_of_means(model_, variance_v2_, volts.size(), 1)[0] + baseline_v2_;
    return std::abs(mean_of(volts)) <= most_deviations * std::sqrt(variance_v2);
  }

  /// Within the noise, or so far that the drift does no harm.
  bool halves_agree(std::span<const double> volts, double harmless_v_per_sample) const {
    const std::size_t half = volts.size() / 2;
    const std::vector<double> covariances = covariances_of_means(model_, variance_v2_, half, 2);
    const double variance_v2 = std::max(2 * (covariances[0] - covariances[1]), 0.0);
    const double difference_v = std::abs(mean_of(volts.first(half)) - mean_of(volts.last(half)));
    return difference_v <= std::max(most_deviations * std::sqrt(variance_v2),
                                    harmless_v_per_sample * static_cast<double>(half));
  }

  /// Of the means of blocks about the straight line through them.
  bool scatter_is_noise(std::span<const double> volts, std::size_t block) const {
    const std::size_t blocks = volts.size() / block;
    constexpr std::size_t fewest_blocks = 4;
    if (blocks < fewest_blocks) return true;
    const auto n = static_cast<double>(blocks);
    // The line's directions, each of length 1: even, and rising.
    const double rise = std::sqrt(12 / (n * (n * n - 1)));
    const auto rising = [&](std::size_t k) { return rise * (static_cast<double>(k) - 0.5 * (n - 1)); };
    double all = 0, even = 0, risen = 0;
    for (std::size_t k = 0; k < blocks; ++k) {
      const double mean = mean_of(volts.subspan(k * block, block));
      all += mean * mean;
      even += mean / std::sqrt(n);
      risen += mean * rising(k);
    }
    const double scatter = all - even * even - risen * risen;
    const std::vector<double> covariances = covariances_of_means(model_, variance_v2_, block, blocks);
    double expected = 0, squares = 0;  // of the scatter; of the covariances
    for (std::size_t lag = 0; lag < blocks; ++lag) {
      const double covariance = (lag == 0 ? 1 : 2) * covariances[lag];
      if (covariance == 0) continue;
      const auto apart = static_cast<double>(lag);
      const double pairs = n - apart;
      // Of the directions with themselves, so many blocks apart; the sum of rising(k) * rising(k - lag) in
      // closed form.
      const double products =
          pairs / n + rise * rise * pairs * ((pairs * pairs - 1) / 12 - apart * apart / 4);
      expected += covariance * ((lag == 0 ? n : 0) - products);
      squares += covariance * covariances[lag] * pairs;
    }
    if (!(expected > 0)) return true;
    const double spread2 = 2 * squares / (9 * expected * expected);  // 2/9 over the degrees of freedom
    return std::cbrt(scatter / expected) <= 1 - spread2 + most_deviations * std::sqrt(spread2);
  }

 private:
  const NoiseModel& model_;
  double variance_v2_ = 0, baseline_v2_ = 0;
};

}  // namespace

RestingLevel level_in_front(const ConditionedTrace& trace, const NoiseModel& noise, const Pulse& pulse,
                            std::size_t begin) {
  constexpr std::size_t foot_samples = 2;
  const std::size_t first = std::min(pulse.region.first, trace.volts.size());
  const std::size_t end = first - std::min(first, foot_samples);
  const Judge judge(trace, noise);
  if (end < begin + fewest || !judge.knows()) return {};
  const std::size_t available = std::min(end - begin, most_resting_samples);
  const auto last = [&](std::size_t samples) {
    return std::span(trace.volts).subspan(end - samples, samples);
  };
  // Half a standard deviation over the length of the pulse moves no time by more than a third of its
  // uncertainty (tests/acceptance/traps).
  const double harmless_v_per_sample =
      0.5 * judge.deviation_v() / static_cast<double>(std::max<std::size_t>(pulse.region.size(), 1));
  RestingLevel level;
  const auto look_at = [&](std::size_t samples) {
    level.at_baseline = level.at_baseline && judge.mean_is_zero(last(samples));
    level.steady =
        level.steady && (samples < 2 * fewest || judge.halves_agree(last(samples), harmless_v_per_sample));
  };
  for (std::size_t samples = fewest; samples < available; samples *= 2) look_at(samples);
  look_at(available);
  for (const std::size_t block : {std::size_t{1}, fewest})
    level.steady = level.steady && judge.scatter_is_noise(last(available), block);
  return level;
}

}  // namespace firstedge
