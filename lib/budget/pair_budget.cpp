#include "firstedge/budget/pair_budget.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t fewest_pairs = 100;
constexpr std::size_t heights_used = 9;
constexpr double outlier_half_widths = 5;
constexpr double propagation_uncertainty = 0.02;  // of the variance, see the header
constexpr double sampling_uncertainty = 0.1;

std::vector<double> typical_heights(std::span<const double> heights_v) {
  const std::vector<double> sorted = finite_sorted(heights_v);
  std::vector<double> typical;
  for (std::size_t i = 0; i < heights_used; ++i)
    typical.push_back(quantile_of_sorted(sorted, (static_cast<double>(i) + 0.5) / heights_used));
  return typical;
}

// The differences without the wild ones, with what goes with them.
struct Core {
  std::vector<std::size_t> rows;
  std::vector<double> difference_s;
};
Core core_of(const BudgetPair& pair) {
  const double centre = median(pair.difference_s);
  const double reach = outlier_half_widths * central_half_width(pair.difference_s);
  Core core;
  for (std::size_t i = 0; i < pair.difference_s.size(); ++i) {
    if (!(std::abs(pair.difference_s[i] - centre) <= reach)) continue;
    core.rows.push_back(i);
    core.difference_s.push_back(pair.difference_s[i]);
  }
  return core;
}

// Variance with its uncertainty from the fourth moment: var(s^2) = (m4 - s^4)/n to first order.
Estimate variance_of(std::span<const double> values) {
  const Moments found = moments(values);
  double fourth = 0;
  for (const double value : values) fourth += std::pow(value - found.mean.value, 4);
  const auto count = static_cast<double>(values.size());
  const double variance = found.deviation.value * found.deviation.value;
  return {variance, std::sqrt(std::max(fourth / count - variance * variance, 0.0) / count), count - 1};
}

std::vector<double> picked(const std::vector<double>& values, const std::vector<std::size_t>& rows) {
  std::vector<double> chosen;
  chosen.reserve(rows.size());
  for (const std::size_t row : rows) chosen.push_back(values[row]);
  return chosen;
}

double noise_uncertainty(const NoiseModel& noise, std::size_t samples) {
  if (samples == 0) return 0;
  double correlation = 1;
  for (std::size_t k = 1; k < noise.autocovariance_v2.size(); ++k)
    correlation += 2 * std::pow(noise.covariance_v2(k) / noise.covariance_v2(0), 2);
  return std::sqrt(2 * correlation / static_cast<double>(samples));
}

Estimate walk_of(const HeightDependence& heights) {
  const std::size_t count = heights.bins.size();
  if (count < 3) return {nan, nan};
  double mean = 0, scatter = 0, variance = 0, squares = 0;
  const auto bins = static_cast<double>(count);
  for (const HeightBin& bin : heights.bins) mean += bin.median_s.value / bins;
  for (const HeightBin& bin : heights.bins) {
    const double distance2 = std::pow(bin.median_s.value - mean, 2);
    const double u2 = bin.median_s.uncertainty * bin.median_s.uncertainty;
    variance += distance2 / bins;
    scatter += u2 * (bins - 1) / (bins * bins);
    squares += (4 * distance2 * u2 + 2 * u2 * u2) / (bins * bins);
  }
  return {variance - scatter, std::sqrt(squares), bins - 1};
}

Estimate shape_of(const std::vector<double>& goodness, const Estimate& noise, const Estimate& rounding) {
  const Moments found = moments(goodness);
  if (found.count < 2) return {nan, nan};
  const double excess = found.mean.value - 1;
  const double electronic = noise.value + rounding.value;
  return {excess * electronic,
          std::hypot(electronic * found.mean.uncertainty, found.mean.value * noise.uncertainty),
          found.mean.degrees_of_freedom};
}

double known(const Estimate& term) {
  return std::isfinite(term.value) ? term.value : 0;
}
double known_u2(const Estimate& term) {
  return std::isfinite(term.uncertainty) ? term.uncertainty * term.uncertainty : 0;
}

ChannelBudget budget_of(const BudgetChannel& channel, const Core& core, const BudgetOptions& options) {
  const std::vector<double> heights = picked(channel.height_v, core.rows);
  const Electronics& electronics = channel.electronics;
  const ElectronicVariance found = electronic_variance(electronics, typical_heights(heights));
  const double relative =
      std::hypot(noise_uncertainty(electronics.noise, channel.noise_samples), propagation_uncertainty);
  ChannelBudget budget;
  budget.noise = {found.noise_s2, relative * found.noise_s2};
  budget.rounding = {found.rounding_s2, propagation_uncertainty * std::abs(found.rounding_s2)};
  budget.sampling = {found.sampling_s2, sampling_uncertainty * found.sampling_s2};
  budget.bound_s = found.bound_s;
  budget.rounding_holds = electronics.noise.rms_v() >= 0.5 * electronics.step_v;
  const std::vector<double> bounds = picked(channel.bound_s, core.rows);
  budget.walk = walk_of(
      height_dependence({core.difference_s, heights, bounds}, options.height_bins, options.bootstrap));
  budget.shape = shape_of(picked(channel.goodness, core.rows), budget.noise, budget.rounding);
  budget.walk_known = std::isfinite(budget.walk.value);
  budget.shape_known = std::isfinite(budget.shape.value);
  return budget;
}

using Change = std::function<Electronics(const Electronics&)>;

// The measured spread with the electronic terms of both channels exchanged for those after the change.
Prediction predicted(const std::string& key, const std::string& words, const BudgetPair& pair,
                     const PairBudget& budget, const Core& core, const Change& change) {
  double variance = budget.spread_s.value * budget.spread_s.value;
  double bound2 = 0;
  for (std::size_t c = 0; c < 2; ++c) {
    const BudgetChannel& channel = pair.channels[c];
    const ElectronicVariance after = electronic_variance(
        change(channel.electronics), typical_heights(picked(channel.height_v, core.rows)));
    const ChannelBudget& now = budget.channels[c];
    variance += after.noise_s2 + after.rounding_s2 + after.sampling_s2;
    variance -= now.noise.value + now.rounding.value + now.sampling.value;
    bound2 += after.bound_s * after.bound_s;
  }
  return {key, words, variance > 0 ? std::sqrt(variance) : nan, std::sqrt(bound2)};
}

std::vector<Prediction> predictions(const BudgetPair& pair, const PairBudget& budget, const Core& core) {
  const auto changed = [&](const std::string& key, const std::string& words, const Change& change) {
    return predicted(key, words, pair, budget, core, change);
  };
  std::vector<Prediction> all{
      changed("bandwidth", "Twice the bandwidth", [](const Electronics& e) { return with_bandwidth(e, 2); }),
      changed("noise", "Half the noise", [](const Electronics& e) { return with_noise(e, 0.5); }),
      changed("bits", "Two more bits", [](const Electronics& e) { return with_more_bits(e, 2); }),
      changed("sampling", "Twice the sampling rate",
              [](const Electronics& e) { return with_faster_sampling(e, 2); })};
  const double measured = budget.spread_s.value * budget.spread_s.value;
  const auto without = [&](const std::string& key, const std::string& words, double variance) {
    const double left = measured - variance;
    all.push_back({key, words, left > 0 ? std::sqrt(left) : nan, budget.bound_s});
  };
  double walk = 0, method = 0;
  for (const ChannelBudget& channel : budget.channels) {
    walk += std::max(known(channel.walk), 0.0);
    method += channel.noise.value + channel.rounding.value + channel.sampling.value -
              channel.bound_s * channel.bound_s;
  }
  without("no_walk", "No walk left over", walk);
  without("method", "A method that reaches the bound", method);
  return all;
}

}  // namespace

double ChannelBudget::total_s2() const {
  return known(noise) + known(rounding) + known(sampling) + known(walk) + known(shape);
}

Estimate signed_root(const Estimate& variance) {
  const double root = std::sqrt(std::abs(variance.value));
  const double uncertainty = std::min(variance.uncertainty / (2 * root), std::sqrt(variance.uncertainty));
  return {std::copysign(root, variance.value), uncertainty, variance.degrees_of_freedom};
}

PairBudget pair_budget(const BudgetPair& pair, const BudgetOptions& options) {
  const std::string place =
      fmt::format("channels '{}' and '{}'", pair.channels[0].name, pair.channels[1].name);
  if (pair.difference_s.size() < fewest_pairs)
    throw Error(place, fmt::format("only {} records have a usable time in both", pair.difference_s.size()),
                fmt::format("a budget needs {}: give more records, or look at the flags with "
                            "firstedge-jitter",
                            fewest_pairs));
  const Core core = core_of(pair);
  PairBudget budget;
  budget.pairs = core.rows.size();
  budget.outliers = pair.difference_s.size() - core.rows.size();
  const Estimate variance = variance_of(core.difference_s);
  budget.spread_s = signed_root(variance);
  double bound2 = 0, explained = 0, u2 = variance.uncertainty * variance.uncertainty;
  for (std::size_t c = 0; c < 2; ++c) {
    ChannelBudget& channel = budget.channels[c] = budget_of(pair.channels[c], core, options);
    bound2 += channel.bound_s * channel.bound_s;
    explained += channel.total_s2();
    for (const Estimate* term :
         {&channel.noise, &channel.rounding, &channel.sampling, &channel.walk, &channel.shape})
      u2 += known_u2(*term);
  }
  budget.bound_s = std::sqrt(bound2);
  budget.rest = {variance.value - explained, std::sqrt(u2)};
  std::vector<double> lower, bounds;
  for (const std::size_t row : core.rows) {
    lower.push_back(std::min(pair.channels[0].height_v[row], pair.channels[1].height_v[row]));
    bounds.push_back(std::hypot(pair.channels[0].bound_s[row], pair.channels[1].bound_s[row]));
  }
  budget.heights =
      height_dependence({core.difference_s, lower, bounds}, options.height_bins, options.bootstrap);
  budget.predictions = predictions(pair, budget, core);
  return budget;
}

}  // namespace firstedge
