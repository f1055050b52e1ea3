// Pick-up lines in a Welch spectrum.
#include "firstedge/signal/noise.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include <boost/math/distributions/chi_squared.hpp>

namespace firstedge {
namespace {

constexpr std::size_t main_lobe = 2;    // bins on either side that a line in a Hann window fills
constexpr std::size_t nearest = 3;      // the first bin beside it that belongs to the noise
constexpr std::size_t near_reach = 4;   // the noise beside the line, where it must have fallen off
constexpr std::size_t wide_reach = 12;  // the noise around it
constexpr std::size_t end_bins = 4;     // not searched: 0 Hz has its mean taken away
constexpr std::size_t first_sound = 2;  // bins below are those of the mean
// By the law of one bin over known noise. The noise is estimated from bins too, which costs the rest of the
// 0.01 that is promised.
constexpr double chance_of_false_line = 0.00005;

double median_log(std::vector<double> densities) {
  if (densities.empty()) return 0;
  const auto middle = densities.begin() + static_cast<std::ptrdiff_t>(densities.size() / 2);
  std::nth_element(densities.begin(), middle, densities.end());
  return std::log(*middle);
}

double mean_log(const std::vector<double>& densities) {
  double sum = 0;
  for (const double density : densities) sum += std::log(density);
  return densities.empty() ? 0 : sum / static_cast<double>(densities.size());
}

/// The noise around one bin, from both sides of it.
class Surroundings {
 public:
  Surroundings(const std::vector<double>& density, std::size_t bin) : density_(density), bin_(bin) {
    const double left = median_log(side(-1, wide_reach)), right = median_log(side(1, wide_reach));
    around_ = std::exp(0.5 * (left + right));
    near_left_ = std::exp(mean_log(side(-1, near_reach)));
    near_right_ = std::exp(mean_log(side(1, near_reach)));
  }
  /// Median density around, on a spectrum that falls or rises evenly.
  double around() const { return around_; }
  /// What the line must stand over: the surroundings, and the nearest bins too, should the noise peak here.
  double base() const { return std::max(around_, std::sqrt(near_left_ * near_right_)); }
  double higher_side() const { return std::max(near_left_, near_right_); }

 private:
  std::vector<double> side(int sign, std::size_t reach) const {
    std::vector<double> values;
    for (std::size_t d = nearest; d <= reach; ++d) {
      if (sign < 0 && bin_ < d + first_sound) break;
      const std::size_t k = sign < 0 ? bin_ - d : bin_ + d;
      if (k < density_.size() && density_[k] > 0) values.push_back(density_[k]);
    }
    return values;
  }

  const std::vector<double>& density_;
  std::size_t bin_;
  double around_ = 0, near_left_ = 0, near_right_ = 0;
};

/// Independent segments that so many half-overlapping ones are worth (Welch 1967; the Hann window's
/// correlation at half overlap is 1/6).
double effective_segments(std::size_t segments) {
  const auto k = static_cast<double>(segments);
  return k / (1 + (2.0 / 36) * (1 - 1 / k));
}

/// True if the peak is as narrow as the window makes a line: two bins beside it there is at most 4 % of it,
/// where a resonance of that half width has half. A quarter leaves room for noise.
bool is_narrow(const std::vector<double>& density, std::size_t bin, double noise) {
  const double beside = 0.5 * (density[bin - main_lobe] + density[bin + main_lobe]) - noise;
  return beside < 0.25 * (density[bin] - noise);
}

PickUpLine describe(const PowerSpectrum& spectrum, std::size_t bin, double noise) {
  const std::vector<double>& density = spectrum.density_v2_per_hz;
  const double bin_hz = spectrum.frequency_hz[1] - spectrum.frequency_hz[0];
  const auto over_noise = [&](std::size_t k) { return std::max(0.0, density[k] - noise); };
  const bool right = over_noise(bin + 1) >= over_noise(bin - 1);
  const double ratio = std::sqrt(over_noise(right ? bin + 1 : bin - 1) / over_noise(bin));
  const double offset = std::clamp((2 * ratio - 1) / (ratio + 1), -0.5, 0.5);
  double area = 0;
  for (std::size_t k = bin - main_lobe; k <= bin + main_lobe; ++k) area += density[k] - noise;

  // Spread of the interpolated offset in bins, a fit to simulated lines of 3 to 5000 times the noise (20 %);
  // the last term is what the mirrored line at negative frequency may do.
  const double signal = over_noise(bin) / noise;
  const double spread = 0.31 * std::sqrt((1 + 5 / signal) / (signal * effective_segments(spectrum.segments)));
  return {.frequency_hz = {.value = spectrum.frequency_hz[bin] + (right ? offset : -offset) * bin_hz,
                           .uncertainty = bin_hz * std::hypot(spread, 0.0003)},
          .amplitude_v = std::sqrt(std::max(0.0, 2 * area * bin_hz)),
          .excess_db = 10 * std::log10(density[bin] / noise)};
}

}  // namespace

std::vector<PickUpLine> find_pick_up_lines(const PowerSpectrum& spectrum) {
  const std::vector<double>& density = spectrum.density_v2_per_hz;
  constexpr std::size_t fewest_bins = 16;
  std::vector<PickUpLine> lines;
  if (density.size() < fewest_bins || spectrum.segments == 0) return lines;
  const double freedom = 2 * effective_segments(spectrum.segments);
  const boost::math::chi_squared law(freedom);
  const double chance = chance_of_false_line / static_cast<double>(density.size());
  const double limit = boost::math::quantile(boost::math::complement(law, chance)) / freedom;
  const double median_to_mean = freedom / boost::math::quantile(law, 0.5);
  for (std::size_t k = end_bins; k + end_bins < density.size(); ++k) {
    const auto around = density.begin() + static_cast<std::ptrdiff_t>(k);
    if (*std::max_element(around - main_lobe, around + main_lobe + 1) != density[k] || density[k] <= 0)
      continue;
    const Surroundings noise(density, k);
    if (density[k] < limit * median_to_mean * noise.base()) continue;
    if (density[k] < (0.5 + 0.5 * limit) * median_to_mean * noise.higher_side()) continue;
    if (!is_narrow(density, k, median_to_mean * noise.around())) continue;
    lines.push_back(describe(spectrum, k, median_to_mean * noise.around()));
  }
  return lines;
}

}  // namespace firstedge
