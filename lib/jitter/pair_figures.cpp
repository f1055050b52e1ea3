#include "firstedge/jitter/pair_figures.hpp"

#include "firstedge/stats/spread.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
// Standard error of the central half width of n normal values, in sigma/sqrt(n) (stats/spread.hpp).
constexpr double half_width_error = 0.962;
constexpr double lower_tail = 0.5 * (1 - share_within_one_sigma);

std::vector<double> resampled(std::span<const double> sorted, std::span<const std::uint32_t> multiplicity,
                              const GaussianCoreOptions& options) {
  double count = 0;
  double sum = 0;
  const double origin = sorted[sorted.size() / 2];
  for (std::size_t i = 0; i < sorted.size(); ++i) {
    count += multiplicity[i];
    sum += multiplicity[i] * (sorted[i] - origin);
  }
  const double shift = sum / count;
  double squares = 0;
  for (std::size_t i = 0; i < sorted.size(); ++i)
    squares += multiplicity[i] * (sorted[i] - origin - shift) * (sorted[i] - origin - shift);
  const double half_width = 0.5 * (quantile_of_sorted(sorted, multiplicity, 1 - lower_tail) -
                                   quantile_of_sorted(sorted, multiplicity, lower_tail));
  const GaussianCore core = fit_gaussian_core(sorted, multiplicity, options);
  return {origin + shift,   std::sqrt(squares / (count - 1)),
          half_width,       core.centre.value,
          core.width.value, core.fraction.value};
}

double root_mean_square(const std::vector<double>& values, std::size_t& known) {
  double sum = 0;
  known = 0;
  for (const double value : values) {
    if (!std::isfinite(value)) continue;
    sum += value * value;
    ++known;
  }
  return known > 0 ? std::sqrt(sum / static_cast<double>(known)) : nan;
}

// J. von Neumann's ratio, Ann. Math. Stat. 12 (1941) 367: for independent normal values the mean square
// difference of neighbours over twice the variance is 1 with standard error 1/sqrt(n).
void give_drift(PairFigures& figures, const PairSample& sample) {
  const double reach = 5 * figures.half_width.value;
  double squares = 0;
  double neighbours = 0;
  double count_in = 0;
  double count_steps = 0;
  double before = nan;
  for (const double difference : sample.difference_s) {
    const double value = difference - figures.median.value;
    if (!(std::abs(value) <= reach)) continue;
    squares += value * value;
    ++count_in;
    if (!std::isnan(before)) {
      neighbours += 0.5 * (value - before) * (value - before);
      ++count_steps;
    }
    before = value;
  }
  figures.short_term_s = std::sqrt(neighbours / count_steps);
  const double ratio = (neighbours / count_steps) / (squares / count_in);
  figures.drift_significance = (1 - ratio) * std::sqrt(count_in);
}

void give_judgement(PairFigures& figures, const PairSample& sample) {
  const auto freedom = static_cast<double>(sample.size() - 1);
  figures.bound_s = root_mean_square(sample.bound_s, figures.with_bound);
  figures.stated_s = root_mean_square(sample.stated_s, figures.with_stated);
  figures.deviation_over_bound = {figures.deviation.value / figures.bound_s,
                                  figures.deviation.uncertainty / figures.bound_s, freedom};
  const auto robust = [](const std::vector<double>& values) {
    const double width = central_half_width(values);
    const auto n = static_cast<double>(values.size());
    return Estimate{width, half_width_error * width / std::sqrt(n), n - 1};
  };
  figures.half_width_over_bound = robust(standardised(sample, sample.bound_s));
  const std::vector<double> pulls = standardised(sample, sample.stated_s);
  figures.pull_deviation = moments(pulls).deviation;
  figures.pull_half_width = robust(pulls);
  const auto within = std::count_if(pulls.begin(), pulls.end(), [](double z) { return std::abs(z) <= 1; });
  figures.pulls_within_1 = share_of(static_cast<std::uint64_t>(within), pulls.size());
}

Estimate share_beyond(const PairSample& sample, const GaussianCore& core, double sigmas) {
  if (!core.usable()) return {nan, nan};
  const auto beyond = std::count_if(
      sample.difference_s.begin(), sample.difference_s.end(),
      [&](double value) { return std::abs(value - core.centre.value) > sigmas * core.width.value; });
  return share_of(static_cast<std::uint64_t>(beyond), sample.size());
}

PairFigures unknown_figures(std::size_t pairs) {
  PairFigures figures;
  const Estimate unknown{nan, nan, nan};
  figures.pairs = pairs;
  for (Estimate* figure :
       {&figures.mean, &figures.deviation, &figures.half_width, &figures.median, &figures.core_centre,
        &figures.core_width, &figures.core_fraction, &figures.beyond_3, &figures.beyond_5,
        &figures.deviation_over_bound, &figures.half_width_over_bound, &figures.pull_deviation,
        &figures.pull_half_width, &figures.pulls_within_1})
    *figure = unknown;
  figures.core.centre = figures.core.width = figures.core.fraction = unknown;
  figures.bound_s = figures.stated_s = figures.short_term_s = figures.drift_significance = nan;
  for (Bootstrapped& interval : figures.intervals) interval = {nan, nan, nan, {nan, nan}, {nan, nan}, 0};
  return figures;
}

}  // namespace

std::vector<double> standardised(const PairSample& sample, const std::vector<double>& scale) {
  const double centre = median(sample.difference_s);
  std::vector<double> values;
  for (std::size_t i = 0; i < sample.size(); ++i) {
    if (scale[i] > 0 && std::isfinite(scale[i]))
      values.push_back((sample.difference_s[i] - centre) / scale[i]);
  }
  return values;
}

PairFigures pair_figures(const PairSample& sample, const GaussianCoreOptions& core,
                         const BootstrapOptions& options) {
  PairFigures figures = unknown_figures(sample.size());
  if (sample.size() < fewest_pairs) return figures;
  const std::vector<double> sorted = finite_sorted(sample.difference_s);
  const Bootstrap drawn = bootstrap(
      sorted.size(),
      [&](std::span<const std::uint32_t> multiplicity) { return resampled(sorted, multiplicity, core); },
      options);
  std::copy(drawn.figures.begin(), drawn.figures.end(), figures.intervals.begin());
  const auto freedom = static_cast<double>(sample.size() - 1);
  const auto estimate = [&](PairFigure figure) {
    const Bootstrapped& found = figures.intervals.at(static_cast<std::size_t>(figure));
    return Estimate{found.value, found.standard_error, freedom};
  };
  figures.mean = estimate(PairFigure::mean);
  figures.deviation = estimate(PairFigure::deviation);
  figures.half_width = estimate(PairFigure::half_width);
  figures.median = {quantile_of_sorted(sorted, 0.5), nan, freedom};
  figures.core = fit_gaussian_core(sorted, core);
  figures.core_centre = estimate(PairFigure::core_centre);
  figures.core_width = estimate(PairFigure::core_width);
  figures.core_fraction = estimate(PairFigure::core_fraction);
  figures.beyond_3 = share_beyond(sample, figures.core, 3);
  figures.beyond_5 = share_beyond(sample, figures.core, 5);
  give_judgement(figures, sample);
  give_drift(figures, sample);
  return figures;
}

}  // namespace firstedge
