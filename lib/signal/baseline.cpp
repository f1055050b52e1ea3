#include "firstedge/signal/baseline.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/signal/level_statistics.hpp"
#include "firstedge/signal/quiet_stretches.hpp"
#include "firstedge/signal/sample_buffer.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

namespace firstedge {
namespace {

/// The samples that the level is taken from: ranges of the trace, and their values one after the other. Those
/// of one range stand in the trace, which must outlive this; those of several are copied together.
class Chosen {
 public:
  SampleRange window;
  FlagSet flags;

  void take(std::span<const double> trace, const SampleRange& range) {
    ranges_.push_back(range);
    const std::span<const double> more = trace.subspan(range.first, range.size());
    if (ranges_.size() == 1) {
      values_ = more;
      return;
    }
    if (joined_.empty()) joined_.assign(values_.begin(), values_.end());
    joined_.insert(joined_.end(), more.begin(), more.end());
    values_ = joined_;
  }
  std::span<const double> values() const { return values_; }
  std::span<const SampleRange> ranges() const { return ranges_; }
  /// The mean position; that of the samples is not empty.
  double middle() const {
    double sum = 0;
    for (const SampleRange& range : ranges_)
      sum += 0.5 * static_cast<double>(range.size()) * static_cast<double>(range.first + range.last - 1);
    return sum / static_cast<double>(values_.size());
  }

 private:
  std::vector<SampleRange> ranges_;
  std::span<const double> values_;
  std::vector<double> joined_;
};

/// Volts that are all finite, and the clipped ranges with the others added.
struct FiniteSamples {
  std::span<const double> values;  ///< those given, or the ones mended
  std::vector<SampleRange> clipped;
  std::vector<double> mended;
};
FiniteSamples only_finite(std::span<const double> volts, std::span<const SampleRange> clipped) {
  FiniteSamples finite{.values = volts, .clipped = {clipped.begin(), clipped.end()}, .mended = {}};
  if (all_finite(volts)) return finite;
  finite.mended.assign(volts.begin(), volts.end());
  finite.values = finite.mended;
  double last = 0;
  for (std::size_t i = 0; i < volts.size(); ++i) {
    if (std::isfinite(volts[i])) {
      last = volts[i];
      continue;
    }
    finite.mended[i] = last;
    finite.clipped.push_back({i, i + 1});
  }
  std::sort(finite.clipped.begin(), finite.clipped.end(),
            [](const SampleRange& a, const SampleRange& b) { return a.first < b.first; });
  return finite;
}

struct StraightLine {
  double middle = 0;  ///< position
  double level = 0;   ///< there
  double slope = 0;   ///< per sample
  double at(double position) const { return level + slope * (position - middle); }
};

/// The least-squares line through the samples, `level` their mean.
StraightLine least_squares_line(const Chosen& chosen, double level) {
  StraightLine line{.middle = chosen.middle(), .level = level};
  double squares = 0, products = 0;  // of the distances from the middle; with the values
  std::size_t done = 0;
  for (const SampleRange& range : chosen.ranges()) {
    const auto size = static_cast<double>(range.size());
    const double from_first = line.middle - static_cast<double>(range.first);
    squares += size * (size * size - 1) / 12 + size * std::pow(0.5 * (size - 1) - from_first, 2);
    products += sum_by_place(chosen.values().subspan(done, range.size()), level, from_first);
    done += range.size();
  }
  if (squares > 0) line.slope = products / squares;
  return line;
}

/// Takes the line away from the values of the chosen samples.
void take_line_away(std::span<double> values, const StraightLine& line, const Chosen& chosen) {
  auto next = values.begin();
  for (const SampleRange& range : chosen.ranges())
    for (std::size_t i = range.first; i < range.last; ++i) *next++ -= line.at(static_cast<double>(i));
}

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

/// The trace's drift per sample: the median slope between the medians of up to 32 blocks (H. Theil 1950), not
/// moved by pulses in a quarter of them.
double robust_drift(std::span<const double> values) {
  const std::size_t blocks = std::min<std::size_t>(32, values.size() / fewest_quiet_samples);
  if (blocks < 2) return 0;
  std::vector<double> medians, middles, slopes;
  for (std::size_t k = 0; k < blocks; ++k) {
    const std::size_t first = k * values.size() / blocks, last = (k + 1) * values.size() / blocks;
    medians.push_back(median_of({values.begin() + static_cast<std::ptrdiff_t>(first),
                                 values.begin() + static_cast<std::ptrdiff_t>(last)}));
    middles.push_back(0.5 * static_cast<double>(first + last - 1));
  }
  for (std::size_t a = 0; a < blocks; ++a) {
    for (std::size_t b = a + 1; b < blocks; ++b)
      slopes.push_back((medians[b] - medians[a]) / (middles[b] - middles[a]));
  }
  return median_of(std::move(slopes));
}

/// The samples of a stated window without those that belong to a pulse or are clipped.
Chosen choose_in_window(std::span<const double> values, SampleRange window, const SampleFacts& facts) {
  Chosen chosen;
  chosen.window = window;
  const std::span<const double> inside = values.subspan(window.first, window.size());
  const double quiet = quiet_deviation(values);
  std::vector<SampleRange> clipped;
  for (const SampleRange& range : facts.clipped) {
    const std::size_t first = std::max(range.first, window.first), last = std::min(range.last, window.last);
    if (first < last) clipped.push_back({first - window.first, last - window.first});
  }
  std::vector<SampleRange> disturbed;
  if (!clipped.empty() || !surely_near_level(inside, seed_deviations * quiet)) {
    const RobustLevel level = shortest_quarter(inside, facts.step_v);
    disturbed = disturbed_ranges(inside, level.centre, std::max(level.deviation, quiet), clipped);
  }
  for (const SampleRange& gap : between(disturbed, inside.size()))
    chosen.take(values, {window.first + gap.first, window.first + gap.last});
  if (!disturbed.empty()) chosen.flags |= Flag::piled_up;
  const std::size_t enough = std::max<std::size_t>(3, (inside.size() + 1) / 2);
  if (chosen.values().size() < enough) chosen.flags |= Flag::no_baseline;
  return chosen;
}

/// The samples of the quiet stretch found automatically; flagged, and empty, if there is none.
Chosen choose_automatically(std::span<const double> values, const BaselineOptions& options,
                            const SampleFacts& facts) {
  std::vector<double> level;
  if (options.method == BaselineOptions::Method::line) {
    level.assign(values.begin(), values.end());
    const double drift = robust_drift(values);
    for (std::size_t i = 0; i < level.size(); ++i) level[i] -= drift * static_cast<double>(i);
  }
  Chosen chosen;
  const std::span<const double> without_drift = level.empty() ? values : std::span<const double>(level);
  if (const auto stretch = best_quiet_stretch(without_drift, facts.step_v, facts.clipped)) {
    chosen.window = *stretch;
    chosen.take(values, *stretch);
  } else {
    chosen.flags = Flag::no_baseline;
  }
  return chosen;
}

/// The part of the trace that a window in seconds covers; empty if none.
SampleRange samples_in(std::pair<double, double> window_s, double interval_s, double first_sample_s,
                       std::size_t samples) {
  const auto sample_at = [&](double time_s) {
    const double position = std::ceil((time_s - first_sample_s) / interval_s - 1e-6);
    return static_cast<std::size_t>(std::clamp(position, 0.0, static_cast<double>(samples)));
  };
  return {sample_at(window_s.first), sample_at(window_s.second)};
}

/// A level and the influence of each sample on it: level error = mean of the influences, to first order.
struct Level {
  double value = 0;
  std::vector<double> influence;
};

/// The median; of quantised samples, the median of grouped data, which divides the middle count.
Level median_level(std::span<const double> values, double rms, double step) {
  const auto n = static_cast<double>(values.size());
  Level level{.value = median_of({values.begin(), values.end()}),
              .influence = std::vector<double>(values.size())};
  if (step > 0) {
    double below = 0, equal = 0;
    for (const double value : values) {
      const double distance = value - level.value;
      if (distance < -0.5 * step) ++below;
      if (std::abs(distance) <= 0.5 * step) ++equal;
    }
    if (equal > 0) level.value += step * ((0.5 * n - below) / equal - 0.5);
  }
  if (rms == 0) return level;
  double near = 0;
  for (const double value : values) near += std::abs(value - level.value) <= rms ? 1 : 0;
  // Half the inverse density at the median, from the share within one standard deviation; 1.169 is the ratio
  // of the normal density in its middle to its mean over that range.
  const double scale = n * rms / (1.169 * std::max(near, 1.0));
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double distance = values[i] - level.value;
    const double sign =
        step > 0 ? std::clamp(2 * distance / step, -1.0, 1.0) : (distance > 0) - (distance < 0);
    level.influence[i] = scale * sign;
  }
  return level;
}

/// The mode of the histogram smoothed by one standard deviation, climbed to from the robust centre.
Level mode_level(std::span<const double> values, double step) {
  const RobustLevel start = shortest_quarter(values, step);
  Level level{.value = start.centre, .influence = std::vector<double>(values.size())};
  // One and a half counts smooth the comb of counts away, to 3e-3 of it for noise of half a count.
  const double width = std::max(start.deviation, 1.5 * step);
  if (!(width > 0)) return level;
  const auto weight = [&](double value) {
    const double distance = (value - level.value) / width;
    return std::exp(-0.5 * distance * distance);
  };
  constexpr int most_steps = 200;
  for (int i = 0; i < most_steps; ++i) {
    double weights = 0, products = 0;
    for (const double value : values) {
      weights += weight(value);
      products += weight(value) * (value - level.value);
    }
    const double move = products / weights;
    level.value += move;
    if (std::abs(move) < 1e-9 * width) break;
  }
  double curvature = 0;
  for (const double value : values) {
    const double distance = (value - level.value) / width;
    curvature += weight(value) * (1 - distance * distance);
  }
  curvature = std::max(curvature / static_cast<double>(values.size()), 0.05);
  for (std::size_t i = 0; i < values.size(); ++i)
    level.influence[i] = weight(values[i]) * (values[i] - level.value) / curvature;
  return level;
}

/// The variance of a level: that of its influences, but no less than that of the mean of the samples (pulled
/// in to three standard deviations): the signs of slow noise look less correlated than the noise is.
MeanVariance variance_of_level(std::span<const double> values, const Level& level, double rms) {
  std::vector<double> near(values.begin(), values.end());
  for (double& value : near) value = std::clamp(value - level.value, -3 * rms, 3 * rms);
  MeanVariance variance = variance_of_mean(level.influence);
  const MeanVariance of_mean = variance_of_mean(near);
  return of_mean.variance > variance.variance ? of_mean : variance;
}

/// How far the samples drift from the middle of their window to its end, squared, where that is more than
/// 3.5 standard deviations; else 0. A drift does not stop at the end of the window.
double drift_v2(const Chosen& chosen, const StraightLine& line, double rms) {
  constexpr double significant2 = 3.5 * 3.5;
  const auto n = static_cast<double>(chosen.values().size());
  if (n < 3) return 0;
  const double reach =
      0.5 * static_cast<double>(chosen.ranges().back().last - 1 - chosen.ranges().front().first);
  const double drift2 = std::pow(line.slope * reach, 2);
  // Of a line's end, 3 times the variance of the mean; for white noise first, which is the least there is.
  if (drift2 <= significant2 * 3 * rms * rms / n) return 0;
  SampleBuffer rest(chosen.values());
  take_line_away(rest.values(), line, chosen);
  return drift2 > significant2 * 3 * variance_of_mean(rest.values()).variance ? drift2 : 0;
}

/// Fills in level, slope, rms and uncertainties from the chosen samples (at least one).
void describe(Baseline& baseline, const Chosen& chosen, double interval_s, const BaselineOptions& options,
              double step) {
  const std::span<const double> values = chosen.values();
  const auto n = static_cast<double>(values.size());
  const bool sloped = options.method == BaselineOptions::Method::line && values.size() > 2;
  double level = mean_of_values(values);
  const StraightLine line = least_squares_line(chosen, level);
  SampleBuffer rest(values);
  const std::span<double> influence = rest.values();
  if (sloped) {
    take_line_away(influence, line, chosen);
  } else {
    take_away(influence, level);
  }
  const double squares = sum_of_products(influence, influence);
  baseline.rms_v = std::sqrt(squares / std::max(n - (sloped ? 2 : 1), 1.0));
  MeanVariance variance = variance_of_mean(influence);
  if (options.method == BaselineOptions::Method::median || options.method == BaselineOptions::Method::mode) {
    const Level robust = options.method == BaselineOptions::Method::median
                             ? median_level(values, baseline.rms_v, step)
                             : mode_level(values, step);
    variance = variance_of_level(values, robust, baseline.rms_v);
    level = robust.value;
  }
  const double rounding = rounding_uncertainty(step, baseline.rms_v);
  const double drift2 = sloped ? 0 : drift_v2(chosen, line, baseline.rms_v);
  baseline.level_v = {.value = level,
                      .uncertainty = std::sqrt(variance.variance + drift2 + rounding * rounding),
                      .degrees_of_freedom = variance.degrees_of_freedom};
  if (sloped) {
    baseline.slope_v_per_s = line.slope / interval_s;
    // Variance of a fitted slope: 12/n^2 times that of the mean, for evenly spaced samples and white noise.
    baseline.slope_uncertainty_v_per_s = std::sqrt(12 * variance.variance) / (n * interval_s);
  }
}

}  // namespace

BaselineOptions baseline_options(const Settings& settings) {
  using Method = BaselineOptions::Method;
  const std::string method = settings.choice("method", "mean", {"mean", "median", "mode", "line"});
  BaselineOptions options;
  if (method == "median") options.method = Method::median;
  if (method == "mode") options.method = Method::mode;
  if (method == "line") options.method = Method::line;
  options.window_s = settings.range("window", "s");
  options.lines_hz = settings.quantities("remove_lines", "Hz");
  settings.finish();
  return options;
}

Baseline measure_baseline(std::span<const double> volts, double interval_s, double first_sample_s,
                          const BaselineOptions& options, const SampleFacts& facts) {
  Baseline baseline;
  if (volts.empty()) {
    baseline.flags = Flag::no_baseline;
    return baseline;
  }
  const FiniteSamples finite = only_finite(volts, facts.clipped);
  const SampleFacts known{.step_v = facts.step_v, .clipped = finite.clipped};
  Chosen chosen;
  if (options.window_s) {
    chosen = choose_in_window(finite.values,
                              samples_in(*options.window_s, interval_s, first_sample_s, volts.size()), known);
  } else {
    chosen = choose_automatically(finite.values, options, known);
  }
  baseline.flags = chosen.flags;
  if (chosen.flags.has(Flag::no_baseline)) {
    const RobustLevel guess = shortest_quarter(finite.values, facts.step_v);
    baseline.level_v = {.value = guess.centre, .uncertainty = guess.deviation, .degrees_of_freedom = 1};
    baseline.rms_v = guess.deviation;
    baseline.window = {0, volts.size()};
  } else {
    describe(baseline, chosen, interval_s, options, facts.step_v);
    baseline.window = chosen.window;
    baseline.samples_used = chosen.values().size();
  }
  const double middle =
      chosen.values().empty() ? 0.5 * static_cast<double>(volts.size() - 1) : chosen.middle();
  baseline.middle_s = first_sample_s + middle * interval_s;
  return baseline;
}

std::vector<SampleRange> quiet_ranges(std::span<const double> volts, const SampleFacts& facts) {
  const FiniteSamples finite = only_finite(volts, facts.clipped);
  const auto best = best_quiet_stretch(finite.values, facts.step_v, finite.clipped);
  if (!best) return {};
  const std::span<const double> quiet = finite.values.subspan(best->first, best->size());
  const double deviation = std::max(deviation_of(quiet), 0.5 * facts.step_v);
  std::vector<SampleRange> ranges = between(
      disturbed_ranges(finite.values, mean_of_values(quiet), deviation, finite.clipped), volts.size());
  std::erase_if(ranges, [](const SampleRange& range) { return range.size() < fewest_quiet_samples; });
  return ranges;
}

}  // namespace firstedge
