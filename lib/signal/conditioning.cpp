#include "firstedge/signal/conditioning.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/signal/level_statistics.hpp"
#include "firstedge/signal/line_removal.hpp"
#include "firstedge/signal/sample_step.hpp"
#include "firstedge/signal/section_lanes.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <type_traits>
#include <utility>

namespace firstedge {
namespace {

constexpr double most_volts = 1e12;

bool is_sound(double volts) {
  return std::abs(volts) <= most_volts;  // false for NaN
}

/// True if every sample is one by is_sound(); of counts, their extremes tell.
bool all_sound(const Trace& trace, std::span<const double> volts) {
  if (const auto range = count_range(trace))
    return is_sound(trace.volts_of(range->first)) && is_sound(trace.volts_of(range->second));
  if (volts.empty() || !all_finite(volts)) return false;
  const auto [least, greatest] = extremes_of(volts);
  return is_sound(least) && is_sound(greatest);
}

/// Ranges joined with the runs of samples that are not sound, in order.
std::vector<SampleRange> with_unsound(const std::vector<SampleRange>& clipped,
                                      const std::vector<double>& volts) {
  std::vector<SampleRange> all;
  std::size_t next = 0;
  const auto is_clipped = [&](std::size_t i) {
    while (next < clipped.size() && clipped[next].last <= i) ++next;
    return next < clipped.size() && clipped[next].first <= i;
  };
  for (std::size_t i = 0; i < volts.size(); ++i) {
    if (!is_clipped(i) && is_sound(volts[i])) continue;
    if (!all.empty() && all.back().last == i) {
      all.back().last = i + 1;
    } else {
      all.push_back({i, i + 1});
    }
  }
  return all;
}

/// Bridges the samples that are not sound by straight lines, at the ends by the nearest sound sample; false
/// if there is none.
bool bridge_unsound(std::vector<double>& volts) {
  const auto sound_from = [&](std::size_t i) {
    while (i < volts.size() && !is_sound(volts[i])) ++i;
    return i;
  };
  std::size_t left = sound_from(0);
  if (left == volts.size()) {
    std::fill(volts.begin(), volts.end(), 0.0);
    return false;
  }
  std::fill(volts.begin(), volts.begin() + static_cast<std::ptrdiff_t>(left), volts[left]);
  while (left + 1 < volts.size()) {
    const std::size_t right = sound_from(left + 1);
    const double rise = right < volts.size() ? volts[right] - volts[left] : 0;
    for (std::size_t i = left + 1; i < right; ++i)
      volts[i] = volts[left] + rise * (static_cast<double>(i - left) / static_cast<double>(right - left));
    left = right;
  }
  return true;
}

/// One count in volts; of samples that are no counts, the step between their values if they show one.
double step_of(const Trace& trace, const std::vector<double>& volts) {
  const bool counts = std::visit(
      [](const auto& samples) {
        return std::is_integral_v<typename std::decay_t<decltype(samples)>::element_type>;
      },
      trace.counts);
  return counts ? std::abs(trace.volts_per_count) : step_between_values(volts);
}

/// Clipped ranges at the samples of a trace whose times were moved back by `delay` samples.
std::vector<SampleRange> moved(std::vector<SampleRange> ranges, double delay, std::size_t samples) {
  const auto place = [&](double position) {
    return static_cast<std::size_t>(std::clamp(position, 0.0, static_cast<double>(samples)));
  };
  for (SampleRange& range : ranges) {
    range.first = place(static_cast<double>(range.first) + std::floor(delay));
    range.last = place(static_cast<double>(range.last) + std::ceil(delay));
  }
  std::erase_if(ranges, [](const SampleRange& range) { return range.first >= range.last; });
  return ranges;
}

/// Measures the baseline and takes it away. `raw_rms_v` judges the rounding to counts: the noise in the
/// baseline's window before any filter.
void take_baseline_away(ConditionedTrace& trace, const BaselineOptions& options,
                        const std::vector<double>& raw_volts, bool filtered) {
  const SampleFacts facts{.step_v = filtered ? 0 : trace.step_v, .clipped = trace.clipped};
  Baseline baseline = measure_baseline(trace.volts, trace.interval_s, trace.first_sample_s, options, facts);
  if (!options.lines_hz.empty() && baseline.flags.empty()) {
    const std::vector<double> lines =
        fitted_lines(trace.volts, trace.interval_s, baseline.window, options.lines_hz);
    for (std::size_t i = 0; i < lines.size(); ++i) trace.volts[i] -= lines[i];
    baseline = measure_baseline(trace.volts, trace.interval_s, trace.first_sample_s, options, facts);
  }
  trace.baseline_v = baseline.level_v;
  if (trace.step_v > 0) {
    const double raw_rms_v =
        filtered ? deviation_of(std::span(raw_volts).subspan(baseline.window.first, baseline.window.size()))
                 : baseline.rms_v;
    if (filtered)
      trace.baseline_v.uncertainty =
          std::hypot(trace.baseline_v.uncertainty, rounding_uncertainty(trace.step_v, raw_rms_v));
    const bool measured = !baseline.flags.has(Flag::no_baseline);
    if (measured && raw_rms_v < least_noise_counts * trace.step_v) trace.flags |= Flag::coarse_counts;
  }
  trace.baseline_middle_s = baseline.middle_s;
  trace.baseline_slope_v_per_s = baseline.slope_v_per_s;
  trace.baseline_slope_uncertainty_v_per_s = baseline.slope_uncertainty_v_per_s;
  trace.baseline_rms_v = baseline.rms_v;
  trace.baseline_window = baseline.window;
  trace.flags |= baseline.flags;
  trace.lowest_v -= baseline.level_v.value;
  trace.highest_v -= baseline.level_v.value;
  if (baseline.slope_v_per_s == 0) {
    take_away(trace.volts, baseline.level_v.value);
    return;
  }
  for (std::size_t i = 0; i < trace.volts.size(); ++i) {
    const double from_middle_s = trace.time_s(static_cast<double>(i)) - baseline.middle_s;
    trace.volts[i] -= baseline.level_v.value + baseline.slope_v_per_s * from_middle_s;
  }
}

/// A trace in volts that are all finite, before filters and baseline.
struct Prepared {
  ConditionedTrace trace;  ///< without its volts
  std::vector<double> volts;
  bool is_usable = false;
};

Prepared prepare(const Trace& recorded) {
  Prepared made;
  ConditionedTrace& trace = made.trace;
  trace.interval_s = recorded.interval_s;
  trace.first_sample_s = recorded.first_sample_s;
  const auto limits =
      std::minmax({recorded.volts_of(recorded.lowest_count), recorded.volts_of(recorded.highest_count)});
  if (std::isfinite(limits.first)) trace.lowest_v = limits.first;
  if (std::isfinite(limits.second)) trace.highest_v = limits.second;
  made.volts = volts(recorded);
  trace.clipped = clipped_ranges(recorded);
  const bool sound = all_sound(recorded, made.volts);
  if (!sound) trace.clipped = with_unsound(trace.clipped, made.volts);
  made.is_usable = !made.volts.empty() && (sound || bridge_unsound(made.volts));
  if (made.is_usable) trace.step_v = step_of(recorded, made.volts);
  return made;
}

ConditionedTrace unusable(Prepared made) {
  made.trace.volts = std::move(made.volts);
  made.trace.flags = Flag::no_baseline;
  return std::move(made.trace);
}

ConditionedTrace unfiltered(Prepared made, const BaselineOptions& baseline) {
  made.trace.volts = std::move(made.volts);
  take_baseline_away(made.trace, baseline, {}, false);
  return std::move(made.trace);
}

ConditionedTrace with_filtered(Prepared made, Filtered filtered, const BaselineOptions& baseline) {
  ConditionedTrace& trace = made.trace;
  trace.volts = std::move(filtered.volts);
  trace.first_sample_s -= filtered.delay_s;
  if (filtered.delay_s != 0)
    trace.clipped = moved(std::move(trace.clipped), filtered.delay_s / trace.interval_s, trace.volts.size());
  take_baseline_away(trace, baseline, made.volts, true);
  return std::move(trace);
}

/// The filters one after the other, over traces of one length.
std::vector<Filtered> filtered_by_all(const std::vector<Filter>& filters,
                                      std::vector<std::vector<double>> traces) {
  std::vector<double> delays_s(traces.size(), 0.0);
  std::vector<Filtered> filtered;
  for (const Filter& filter : filters) {
    filtered = filter(std::span<const std::vector<double>>(traces));
    for (std::size_t k = 0; k < traces.size(); ++k) {
      delays_s[k] += filtered[k].delay_s;
      traces[k] = std::move(filtered[k].volts);
    }
  }
  for (std::size_t k = 0; k < traces.size(); ++k) filtered[k] = {std::move(traces[k]), delays_s[k]};
  return filtered;
}

ConditionedTrace condition_with(const Trace& recorded, const BaselineOptions& baseline,
                                const std::vector<Filter>& filters) {
  Prepared made = prepare(recorded);
  if (!made.is_usable) return unusable(std::move(made));
  if (filters.empty()) return unfiltered(std::move(made), baseline);
  std::vector<Filtered> filtered = filtered_by_all(filters, {made.volts});
  return with_filtered(std::move(made), std::move(filtered.front()), baseline);
}

/// Traces of one length and interval, filtered together.
std::vector<ConditionedTrace> condition_together(std::span<const Trace> recorded,
                                                 const BaselineOptions& baseline,
                                                 const std::vector<Filter>& filters) {
  std::vector<Prepared> prepared;
  std::vector<std::vector<double>> usable;
  for (const Trace& one : recorded) {
    prepared.push_back(prepare(one));
    if (prepared.back().is_usable) usable.push_back(prepared.back().volts);
  }
  std::vector<Filtered> filtered = filtered_by_all(filters, std::move(usable));
  std::vector<ConditionedTrace> made;
  made.reserve(prepared.size());
  auto next = filtered.begin();
  for (Prepared& one : prepared) {
    made.push_back(one.is_usable ? with_filtered(std::move(one), std::move(*next++), baseline)
                                 : unusable(std::move(one)));
  }
  return made;
}

std::vector<Filter> prepared(const std::vector<FilterOptions>& options, double interval_s) {
  std::vector<Filter> filters;
  filters.reserve(options.size());
  for (const FilterOptions& one : options) filters.emplace_back(one, interval_s);
  return filters;
}

}  // namespace

ConditioningOptions conditioning_options(const Settings& baseline, const std::vector<Settings>& filters) {
  ConditioningOptions options{.baseline = baseline_options(baseline), .filters = {}};
  for (const Settings& filter : filters) options.filters.push_back(filter_options(filter));
  return options;
}

Conditioner::Conditioner(ConditioningOptions options, double interval_s)
    : options_(std::move(options)),
      interval_s_(interval_s),
      filters_(prepared(options_.filters, interval_s)) {}

ConditionedTrace Conditioner::operator()(const Trace& trace) const {
  if (trace.empty() || trace.interval_s == interval_s_)
    return condition_with(trace, options_.baseline, filters_);
  return condition_with(trace, options_.baseline, prepared(options_.filters, trace.interval_s));
}

std::vector<ConditionedTrace> Conditioner::operator()(std::span<const Trace> traces) const {
  std::vector<ConditionedTrace> made;
  made.reserve(traces.size());
  while (made.size() < traces.size()) {
    const auto rest = traces.subspan(made.size());
    const auto is_alike = [&](const Trace& one) {
      return !one.empty() && one.interval_s == interval_s_ && one.size() == rest.front().size();
    };
    const auto alike =
        static_cast<std::size_t>(std::find_if_not(rest.begin(), rest.end(), is_alike) - rest.begin());
    if (filters_.empty() || alike < 2) {
      made.push_back((*this)(rest.front()));
      continue;
    }
    std::vector<ConditionedTrace> some = condition_together(rest.first(alike), options_.baseline, filters_);
    std::move(some.begin(), some.end(), std::back_inserter(made));
  }
  return made;
}

std::size_t Conditioner::traces_at_once() const {
  return filters_.empty() ? 1 : traces_side_by_side;
}

ConditionedTrace condition(const Trace& trace, const ConditioningOptions& options) {
  if (trace.empty()) return condition_with(trace, options.baseline, {});
  return Conditioner(options, trace.interval_s)(trace);
}

}  // namespace firstedge
