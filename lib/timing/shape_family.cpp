#include "firstedge/timing/shape_family.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/timing/shape_columns.hpp"
#include "firstedge/timing/template_fit.hpp"
#include "firstedge/timing/template_regression.hpp"
#include "firstedge/timing/template_trace.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>
#include <utility>

namespace firstedge {
namespace {

constexpr std::size_t most_components = 4;
constexpr std::size_t fewest_pulses = 40;
constexpr int power_rounds = 60;
constexpr int refining_rounds = 4;
constexpr double outlier_deviations = 10;  // of the goodness, robustly: no way of varying but another thing
constexpr double normal_consistency = 1.4826;
constexpr double highest_cycles_per_sample = 0.6;  // as for the mean, template_building.cpp
constexpr double largest_pull2 = 25;  // of one pulse in a mean square, so that no few make a component
constexpr double unlimited = std::numeric_limits<double>::infinity();

// A pulse with its samples, aligned with the mean; coefficients of the components found so far.
struct Aligned {
  PulseSamples samples;
  double time_samples = 0, height_v = 0, level_v = 0;
  double goodness = 0;
  std::vector<double> coefficients;
};

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

std::vector<Aligned> aligned(std::span<const PulseInTrace> pulses, const PulseTemplate& mean,
                             const NoiseModel& noise, const TemplateColumns& columns) {
  const TemplateFit fit(mean, noise, {.find_hidden_pulses = false});
  const FlagSet against = Flag::clipped | Flag::piled_up | Flag::no_baseline | Flag::edge_of_record |
                          Flag::low_signal | Flag::not_timed;
  std::vector<Aligned> all;
  for_each_trace(pulses, [&](const ConditionedTrace& trace, std::span<const Pulse> together) {
    const TemplateTrace view(columns, trace);
    for (const Stamp& stamp : fit(trace, together)) {
      if (stamp.flags.has_any(against)) continue;
      Aligned one;
      one.time_samples = (stamp.time_s - trace.first_sample_s) / trace.interval_s;
      one.height_v = stamp.height_v;
      one.level_v = stamp.polarity * (stamp.baseline_v - trace.baseline_v.value);
      one.goodness = stamp.goodness;
      one.samples =
          view.samples_around(stamp.polarity, one.time_samples, one.time_samples, trace.volts.size());
      all.push_back(std::move(one));
    }
  });
  return all;
}

// Without what the mean is no shape of at all.
std::vector<Aligned> without_outliers(std::vector<Aligned> all) {
  std::vector<double> goodness;
  for (const Aligned& one : all) goodness.push_back(one.goodness);
  if (goodness.empty() || !std::isfinite(goodness.front())) return all;  // the noise is not known
  const double middle = median(goodness);
  for (double& value : goodness) value = std::abs(value - middle);
  const double limit = middle + outlier_deviations * normal_consistency * median(goodness);
  std::erase_if(all, [limit](const Aligned& one) { return !(one.goodness <= limit); });
  return all;
}

// One component of the family on the way: everything that learning it needs.
class ComponentSearch {
 public:
  ComponentSearch(const ShapeFamily& family, const TemplateColumns& columns)
      : family_(family), columns_(columns) {}

  // The component that these pulses ask for most, scaled to coefficients of standard deviation 1; nothing if
  // they give none.
  std::optional<ShapeComponent> learnt(std::span<const Aligned> pulses) const {
    std::vector<double> coefficients = first_coefficients(pulses);
    std::vector<Aligned> now(pulses.begin(), pulses.end());
    ShapeFamily trial = family_;
    trial.components.emplace_back();
    for (int round = 0; round < refining_rounds; ++round) {
      const auto shape = regressed(now, coefficients);
      if (!shape) return std::nullopt;
      trial.components.back().shape = *shape;
      std::vector<double> pulls = refit(now, trial);
      const double spread = spread_of(now, pulls);
      if (!(spread > 0)) return std::nullopt;
      for (std::size_t p = 0; p < now.size(); ++p) {
        coefficients[p] = now[p].coefficients.back() / spread;
        now[p].coefficients.pop_back();
      }
      for (double& value : trial.components.back().shape) value *= spread;
    }
    return trial.components.back();
  }

  // By how many standard errors a component stands out in these pulses.
  double significance(std::span<const Aligned> pulses, const ShapeComponent& component) const {
    std::vector<Aligned> now(pulses.begin(), pulses.end());
    ShapeFamily trial = family_;
    trial.components.push_back(component);
    const std::vector<double> pulls = refit(now, trial);
    double squares = 0;
    double goodness = 0;
    std::size_t count = 0;
    for (std::size_t p = 0; p < pulls.size(); ++p) {
      if (!std::isfinite(pulls[p])) continue;
      squares += std::min(pulls[p] * pulls[p], largest_pull2);
      goodness += now[p].goodness;
      ++count;
    }
    if (count < fewest_pulses / 2) return 0;
    const auto n = static_cast<double>(count);
    return (squares / goodness - 1) * std::sqrt(n / 2);
  }

 private:
  // Of each pulse along the direction in which the whitened residuals scatter most: power iteration on their
  // products, started from the longest of them.
  std::vector<double> first_coefficients(std::span<const Aligned> pulses) const {
    const std::vector<std::vector<double>> residuals = white_residuals(pulses);
    std::vector<double> direction(columns_.samples());
    double longest = 0;
    for (const auto& one : residuals) {
      const double length2 = dot_product(one, one);
      if (length2 > longest) direction = one;
      longest = std::max(longest, length2);
    }
    std::vector<double> along(residuals.size());
    for (int round = 0; round < power_rounds; ++round) {
      std::vector<double> next(direction.size());
      for (std::size_t p = 0; p < residuals.size(); ++p) {
        along[p] = dot_product(residuals[p], direction);
        for (std::size_t n = 0; n < next.size(); ++n) next[n] += along[p] * residuals[p][n];
      }
      const double length = std::sqrt(dot_product(next, next));
      if (!(length > 0)) break;
      for (std::size_t n = 0; n < next.size(); ++n) direction[n] = next[n] / length;
    }
    for (std::size_t p = 0; p < residuals.size(); ++p) along[p] /= pulses[p].height_v;
    return along;
  }

  // What mean, components so far and level leave of each pulse, whitened, in the window of its time. Pulses
  // whose window is not whole have none (all 0).
  std::vector<std::vector<double>> white_residuals(std::span<const Aligned> pulses) const {
    const FamilyShape shape(family_);
    const ShapeColumns components(shape, columns_);
    std::vector<std::vector<double>> residuals;
    for (const Aligned& one : pulses) {
      std::vector<double> rest(columns_.samples());
      const TemplateColumns::Sampled mean = columns_.sampled(one.time_samples);
      const std::ptrdiff_t from = mean.first - one.samples.first;
      const bool whole = from >= 0 && from + static_cast<std::ptrdiff_t>(rest.size()) <=
                                          static_cast<std::ptrdiff_t>(one.samples.volts.size());
      for (std::size_t i = 0; whole && i < rest.size(); ++i)
        rest[i] = one.samples.volts[static_cast<std::size_t>(from) + i] - one.height_v * mean.shape[i] -
                  one.level_v;
      for (std::size_t c = 0; whole && c < one.coefficients.size(); ++c) {
        const ShapeColumns::Sampled part = components.sampled(c, one.time_samples);
        for (std::size_t i = 0; i < rest.size(); ++i)
          rest[i] -= one.height_v * one.coefficients[c] * part.value[i];
      }
      residuals.push_back(columns_.whitening().whitened(rest));
    }
    return residuals;
  }

  // The component for given coefficients of it, on the points of the mean.
  std::optional<std::vector<double>> regressed(std::span<const Aligned> pulses,
                                               const std::vector<double>& coefficients) const {
    const FamilyShape shape(family_);
    const double interval = columns_.interval_s();
    TemplateRegression regression(family_.mean.first_s, family_.mean.interval_s, family_.mean.shape.size(),
                                  highest_cycles_per_sample / interval);
    for (std::size_t p = 0; p < pulses.size(); ++p) {
      const Aligned& one = pulses[p];
      for (std::size_t i = 0; i < one.samples.volts.size(); ++i) {
        if (one.samples.left_out[i]) continue;
        const auto sample = static_cast<double>(one.samples.first + static_cast<std::ptrdiff_t>(i));
        const double t = (sample - one.time_samples) * interval;
        double known = shape.mean().value(t) / shape.mean().peak();
        for (std::size_t c = 0; c < one.coefficients.size(); ++c)
          known += one.coefficients[c] * shape.component(c, t, 0);
        regression.add(t, one.height_v * coefficients[p],
                       one.samples.volts[i] - one.height_v * known - one.level_v);
      }
    }
    TemplateRegression::Solution solution = regression.solved();
    if (!std::all_of(solution.value.begin(), solution.value.end(),
                     [](double value) { return std::isfinite(value); }))
      return std::nullopt;
    return std::move(solution.value);
  }

  // Every pulse fitted with all components free; its last coefficient over the uncertainty of that (NaN where
  // there is no fit, and the pulse keeps a coefficient of 0).
  std::vector<double> refit(std::vector<Aligned>& pulses, const ShapeFamily& family) const {
    const FamilyShape shape(family);
    const ShapeColumns columns(shape, columns_);
    std::vector<double> pulls;
    for (Aligned& one : pulses) {
      const auto fitted = fit_shape(columns, one.samples, one.time_samples, one.height_v, unlimited);
      if (!fitted) {
        one.coefficients.push_back(0);
        pulls.push_back(std::numeric_limits<double>::quiet_NaN());
        continue;
      }
      one.time_samples = fitted->time_samples;
      one.height_v = fitted->height_v;
      one.level_v = fitted->level_v;
      one.coefficients = fitted->coefficients;
      one.goodness = fitted->chi_square / static_cast<double>(fitted->degrees_of_freedom);
      const std::size_t last = 1 + family.components.size();
      pulls.push_back(one.coefficients.back() * one.height_v / std::sqrt(fitted->covariance[last][last]));
    }
    return pulls;
  }

  // Standard deviation of the last coefficients, less what the noise puts into them; pulses weighed by what
  // they tell.
  static double spread_of(std::span<const Aligned> pulses, const std::vector<double>& pulls) {
    double weights = 0;
    double sum = 0;
    for (std::size_t p = 0; p < pulses.size(); ++p) {
      const double coefficient = pulses[p].coefficients.back();
      if (!std::isfinite(pulls[p]) || coefficient == 0) continue;
      const double noise2 = std::pow(coefficient / pulls[p], 2);
      weights += 1 / noise2;
      sum += (coefficient * coefficient - noise2) / noise2;
    }
    return weights > 0 && sum > 0 ? std::sqrt(sum / weights) : 0;
  }

  const ShapeFamily& family_;
  const TemplateColumns& columns_;
};

std::vector<Aligned> every_second(std::span<const Aligned> pulses, std::size_t from) {
  std::vector<Aligned> half;
  for (std::size_t p = from; p < pulses.size(); p += 2) half.push_back(pulses[p]);
  return half;
}

// The coefficients of all pulses for the family as it stands.
void settle(std::vector<Aligned>& pulses, const ShapeFamily& family, const TemplateColumns& columns) {
  const FamilyShape shape(family);
  const ShapeColumns ready(shape, columns);
  std::erase_if(pulses, [&](Aligned& one) {
    const auto fitted = fit_shape(ready, one.samples, one.time_samples, one.height_v, unlimited);
    if (!fitted) return true;
    one.time_samples = fitted->time_samples;
    one.height_v = fitted->height_v;
    one.level_v = fitted->level_v;
    one.coefficients = fitted->coefficients;
    return false;
  });
}

}  // namespace

ShapeFamily build_shape_family(const PulseTemplate& mean, std::span<const PulseInTrace> pulses,
                               const NoiseModel& noise, const ShapeFamilyOptions& options) {
  if (options.most_components > most_components)
    throw Error("shape family", "most_components is out of range", "use 0 to 4, such as 2");
  ShapeFamily family{.mean = mean, .components = {}};
  const TemplateColumns columns(family.mean, noise, true);
  std::vector<Aligned> all = without_outliers(aligned(pulses, family.mean, noise, columns));
  while (family.components.size() < options.most_components && all.size() >= fewest_pulses) {
    const ComponentSearch search(family, columns);
    const auto of_half = search.learnt(every_second(all, 0));
    const double significance = of_half ? search.significance(every_second(all, 1), *of_half) : 0;
    if (!(significance >= options.least_significance)) break;
    std::optional<ShapeComponent> component = search.learnt(all);
    if (!component) break;
    component->significance = significance;
    family.components.push_back(std::move(*component));
    settle(all, family, columns);
  }
  return family;
}

}  // namespace firstedge
