#include "firstedge/timing/shape_family.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/signal/lane_sums.hpp"
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
constexpr int refining_rounds = 8;
constexpr double outlier_deviations = 10;  // of the goodness, robustly: no way of varying but another thing
constexpr double normal_consistency = 1.4826;
constexpr double highest_cycles_per_sample = 0.6;  // as for the mean, template_building.cpp
constexpr double largest_pull2 = 25;  // of one pulse in a mean square, so that no few make a component

// A pulse with its samples, aligned with the mean; coefficients of the components found so far.
struct Aligned {
  PulseSamples samples;
  double time_samples = 0, height_v = 0, level_v = 0;
  double goodness = 0;
  std::vector<double> coefficients;
  double doubt = 0;  // standard uncertainty of the last coefficient
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
  for (const auto& [in, together] : by_trace(pulses)) {
    const ConditionedTrace& trace = *in;
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
  }
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

// A component or the mean on the points of the mean, by least squares over all samples of all pulses.
class FamilyRegression {
 public:
  FamilyRegression(const ShapeFamily& family, double interval_s) : family_(family), interval_s_(interval_s) {}

  // The last component. Nothing if the samples do not fix it.
  std::optional<std::vector<double>> component(std::span<const Aligned> pulses) const {
    TemplateRegression regression = empty();
    const std::size_t last = family_.components.size() - 1;
    for_each_sample(pulses, [&](const Aligned& one, double t, double volts) {
      const double known = at(family_.mean.shape, t) + components(one, t, last);
      regression.add(t, one.height_v * one.coefficients[last], volts - one.height_v * known);
    });
    TemplateRegression::Solution solution = regression.solved();
    if (!all_finite(solution.value)) return std::nullopt;
    return without_level(std::move(solution.value));
  }

  std::optional<TemplateRegression::Solution> mean(std::span<const Aligned> pulses) const {
    TemplateRegression regression = empty();
    for_each_sample(pulses, [&](const Aligned& one, double t, double volts) {
      regression.add(t, one.height_v, volts - one.height_v * components(one, t, family_.components.size()));
    });
    TemplateRegression::Solution solution = regression.solved();
    if (!all_finite(solution.value)) return std::nullopt;
    solution.value = without_level(std::move(solution.value));
    return solution;
  }

 private:
  static bool all_finite(const std::vector<double>& values) {
    return std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); });
  }
  // Levels of the pulses in proportion to height or coefficient cannot be told from a level of the shape:
  // they are the pulses', and every shape starts at 0.
  std::vector<double> without_level(std::vector<double> values) const {
    constexpr double quiet_share = 2e-3;  // of the mean's peak: before that nothing of the pulse is seen
    const double edge = (TemplateShape(family_.mean).leading_crossing_s(quiet_share) - family_.mean.first_s) /
                        family_.mean.interval_s;
    const double last = std::isfinite(edge) ? std::floor(edge) : 0;
    const auto count = static_cast<std::ptrdiff_t>(std::clamp(last, 1.0, static_cast<double>(values.size())));
    const double level =
        std::accumulate(values.begin(), values.begin() + count, 0.0) / static_cast<double>(count);
    for (double& value : values) value -= level;
    return values;
  }
  TemplateRegression empty() const {
    return {family_.mean.first_s, family_.mean.interval_s, family_.mean.shape.size(),
            highest_cycles_per_sample / interval_s_};
  }
  // Of the first so many components.
  double components(const Aligned& one, double t, std::size_t count) const {
    double sum = 0;
    for (std::size_t c = 0; c < count; ++c) sum += one.coefficients[c] * at(family_.components[c].shape, t);
    return sum;
  }
  // Between its points by the cubic through four of them: 2e-6 of the height for an edge of 36 points, and a
  // tenth of the time that the quintic spline takes. 0 outside.
  double at(const std::vector<double>& points, double t) const {
    const double position = (t - family_.mean.first_s) / family_.mean.interval_s;
    if (!(position >= 0 && position <= static_cast<double>(points.size() - 1))) return 0;
    const std::size_t first =
        std::min(static_cast<std::size_t>(std::max(position - 1, 0.0)), points.size() - 4);
    const double x = position - static_cast<double>(first);
    const double* y = points.data() + first;
    return -(x - 1) * (x - 2) * (x - 3) / 6 * y[0] + x * (x - 2) * (x - 3) / 2 * y[1] -
           x * (x - 1) * (x - 3) / 2 * y[2] + x * (x - 1) * (x - 2) / 6 * y[3];
  }
  // look(pulse, time from its reference instant, volts over its level).
  template <class Look>
  void for_each_sample(std::span<const Aligned> pulses, Look look) const {
    for (const Aligned& one : pulses) {
      for (std::size_t i = 0; i < one.samples.volts.size(); ++i) {
        if (one.samples.left_out[i]) continue;
        const auto sample = static_cast<double>(one.samples.first + static_cast<std::ptrdiff_t>(i));
        look(one, (sample - one.time_samples) * interval_s_, one.samples.volts[i] - one.level_v);
      }
    }
  }

  const ShapeFamily& family_;
  double interval_s_;
};

// Every pulse fitted with all components free; its time is then that of its own reference instant and its
// height that of its own peak, so that the shapes are compared as they stand to those. Pulses that cannot be
// fitted are left out.
void refit(std::vector<Aligned>& pulses, const ShapeFamily& family, const NoiseModel& noise) {
  const TemplateColumns mean(family.mean, noise, true);
  const FamilyShape shape(family);
  const ShapeColumns columns(shape, mean);
  const std::vector<double> free(family.components.size(), std::numeric_limits<double>::infinity());
  std::erase_if(pulses, [&](Aligned& one) {
    const auto fitted = fit_shape(columns, one.samples, one.time_samples, one.height_v, free);
    if (!fitted) return true;
    const FamilyShape::Instants instants = shape.instants(fitted->coefficients);
    if (!std::isfinite(instants.reference_s)) return true;
    one.time_samples = fitted->time_samples + instants.reference_s / noise.interval_s;
    one.height_v = fitted->height_v * instants.peak;
    one.level_v = fitted->level_v;
    one.coefficients = fitted->coefficients;
    one.goodness = fitted->chi_square / static_cast<double>(fitted->degrees_of_freedom);
    if (one.coefficients.empty()) return false;
    const std::size_t last = 1 + one.coefficients.size();
    one.doubt = std::sqrt(fitted->covariance[last][last]) / fitted->height_v;
    return false;
  });
}

// What the family leaves of each pulse, whitened, in the window of its time; all 0 for a window that is not
// whole.
std::vector<std::vector<double>> white_residuals(std::span<const Aligned> pulses, const ShapeFamily& family,
                                                 const NoiseModel& noise) {
  const TemplateColumns columns(family.mean, noise, true);
  const ShapeColumns components(FamilyShape(family), columns);
  std::vector<std::vector<double>> residuals;
  for (const Aligned& one : pulses) {
    std::vector<double> rest(columns.samples());
    const TemplateColumns::Sampled mean = columns.sampled(one.time_samples);
    const std::ptrdiff_t from = mean.first - one.samples.first;
    const auto size = static_cast<std::ptrdiff_t>(rest.size());
    if (from >= 0 && from + size <= static_cast<std::ptrdiff_t>(one.samples.volts.size())) {
      std::vector<double> shape = mean.shape;
      for (std::size_t c = 0; c < one.coefficients.size(); ++c) {
        const ShapeColumns::Sampled part = components.sampled(c, one.time_samples);
        for (std::size_t i = 0; i < rest.size(); ++i) shape[i] += one.coefficients[c] * part.value[i];
      }
      for (std::size_t i = 0; i < rest.size(); ++i)
        rest[i] =
            one.samples.volts[static_cast<std::size_t>(from) + i] - one.height_v * shape[i] - one.level_v;
    }
    residuals.push_back(columns.whitening().whitened(rest));
  }
  return residuals;
}

// Gives each pulse a first coefficient more: along the direction in which the whitened residuals scatter
// most, by power iteration on their products, started from the longest of them; scaled to a standard
// deviation of 1 over the noise. False if they scatter no more than that.
bool add_first_coefficients(std::vector<Aligned>& pulses, const ShapeFamily& family,
                            const NoiseModel& noise) {
  const std::vector<std::vector<double>> residuals = white_residuals(pulses, family, noise);
  std::vector<double> direction = residuals.front();
  for (const auto& one : residuals)
    if (sum_of_products(one, one) > sum_of_products(direction, direction)) direction = one;
  std::vector<double> along(residuals.size());
  for (int round = 0; round < power_rounds; ++round) {
    std::vector<double> next(direction.size());
    for (std::size_t p = 0; p < residuals.size(); ++p) {
      along[p] = sum_of_products(residuals[p], direction);
      for (std::size_t n = 0; n < next.size(); ++n) next[n] += along[p] * residuals[p][n];
    }
    const double length = std::sqrt(sum_of_products(next, next));
    if (!(length > 0)) return false;
    for (std::size_t n = 0; n < next.size(); ++n) direction[n] = next[n] / length;
  }
  double squares = 0;
  double heights = 0;
  for (std::size_t p = 0; p < residuals.size(); ++p) {
    along[p] = sum_of_products(residuals[p], direction);
    squares += along[p] * along[p] - 1;
    heights += pulses[p].height_v * pulses[p].height_v;
  }
  const double spread = std::sqrt(squares / heights);
  for (std::size_t p = 0; p < residuals.size(); ++p)
    pulses[p].coefficients.push_back(along[p] / pulses[p].height_v / spread);
  return spread > 0;
}

// Brings the last coefficients to mean 0 and standard deviation 1 over the noise, and their component to
// match; pulses weighed by what they tell. False if they have no spread.
bool standardise(std::vector<Aligned>& pulses, ShapeFamily& family) {
  double weights = 0;
  double sum = 0;
  double squares = 0;
  for (const Aligned& one : pulses) {
    const double coefficient = one.coefficients.back();
    const double weight = 1 / (1 + one.doubt * one.doubt);
    weights += weight;
    sum += weight * coefficient;
    squares += weight * (coefficient * coefficient - one.doubt * one.doubt);
  }
  const double mean = sum / weights;
  const double spread = std::sqrt(squares / weights - mean * mean);
  if (!(spread > 0)) return false;
  for (double& value : family.components.back().shape) value *= spread;
  for (Aligned& one : pulses) one.coefficients.back() = (one.coefficients.back() - mean) / spread;
  return true;
}

// Peak 1 and time zero at the reference crossing, as a template has them; the pulses follow.
void normalise(ShapeFamily& family, std::vector<Aligned>& pulses, double interval_s) {
  const TemplateShape shape(family.mean);
  family.mean.first_s -= shape.reference_s();
  for (double& value : family.mean.shape) value /= shape.peak();
  for (double& value : family.mean.shape_uncertainty) value /= shape.peak();
  for (ShapeComponent& one : family.components)
    for (double& value : one.shape) value /= shape.peak();
  for (Aligned& one : pulses) {
    one.time_samples += shape.reference_s() / interval_s;
    one.height_v *= shape.peak();
  }
}

// The family with the component more that these pulses ask for most; nothing if they give none.
std::optional<ShapeFamily> with_one_more(ShapeFamily family, std::vector<Aligned> pulses,
                                         const NoiseModel& noise) {
  if (!add_first_coefficients(pulses, family, noise)) return std::nullopt;
  family.components.push_back({.shape = std::vector<double>(family.mean.shape.size()), .significance = 0});
  for (int round = 0; round < refining_rounds; ++round) {
    auto component = FamilyRegression(family, noise.interval_s).component(pulses);
    if (!component) return std::nullopt;
    family.components.back().shape = std::move(*component);
    refit(pulses, family, noise);
    if (pulses.size() < fewest_pulses / 2 || !standardise(pulses, family)) return std::nullopt;
    auto mean = FamilyRegression(family, noise.interval_s).mean(pulses);
    if (!mean) return std::nullopt;
    family.mean.shape = std::move(mean->value);
    family.mean.shape_uncertainty = std::move(mean->uncertainty);
    normalise(family, pulses, noise.interval_s);
  }
  return family;
}

// By how many standard errors the last component of a family stands out in pulses that it was not learnt
// from.
double significance_of(const ShapeFamily& family, std::vector<Aligned> pulses, const NoiseModel& noise) {
  refit(pulses, family, noise);
  if (pulses.size() < fewest_pulses / 2) return 0;
  const auto count = static_cast<double>(pulses.size());
  const auto pull_of = [](const Aligned& one) { return one.coefficients.back() / one.doubt; };
  double mean = 0;
  for (const Aligned& one : pulses) mean += pull_of(one) / count;
  double squares = 0;
  double goodness = 0;
  for (const Aligned& one : pulses) {
    squares += std::min(std::pow(pull_of(one) - mean, 2), largest_pull2);
    goodness += one.goodness;
  }
  return (squares / goodness - 1) * std::sqrt(count / 2);
}

std::vector<Aligned> every_second(std::span<const Aligned> pulses, std::size_t from) {
  std::vector<Aligned> half;
  for (std::size_t p = from; p < pulses.size(); p += 2) half.push_back(pulses[p]);
  return half;
}

}  // namespace

ShapeFamily build_shape_family(const PulseTemplate& mean, std::span<const PulseInTrace> pulses,
                               const NoiseModel& noise, const ShapeFamilyOptions& options) {
  if (options.most_components > most_components)
    throw Error("shape family", "most_components is out of range", "use 0 to 4, such as 2");
  ShapeFamily family{.mean = mean, .components = {}};
  std::vector<Aligned> all;
  normalise(family, all, noise.interval_s);
  all = without_outliers(aligned(pulses, family.mean, noise, TemplateColumns(family.mean, noise, true)));
  while (family.components.size() < options.most_components && all.size() >= fewest_pulses) {
    const auto of_half = with_one_more(family, every_second(all, 0), noise);
    const double significance = of_half ? significance_of(*of_half, every_second(all, 1), noise) : 0;
    if (!(significance >= options.least_significance)) break;
    std::optional<ShapeFamily> more = with_one_more(family, all, noise);
    if (!more) break;
    family = std::move(*more);
    family.components.back().significance = significance;
    refit(all, family, noise);
  }
  return family;
}

}  // namespace firstedge
