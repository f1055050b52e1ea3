#include "firstedge/signal/pulse_measures.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace firstedge {
namespace {

constexpr double none = std::numeric_limits<double>::quiet_NaN();

struct States {
  double low = 0, high = 0;
};

constexpr std::size_t fewest_in_state = 4;

/// The samples counted in equal bins of their range, and what states that gives.
class Histogram {
 public:
  Histogram(std::span<const double> volts, double low, double high, std::size_t bins)
      : counts_(bins, 0), sums_(bins, 0.0) {
    for (const double value : volts) {
      const double place = (value - low) / (high - low) * static_cast<double>(bins);
      const std::size_t bin = std::min(static_cast<std::size_t>(std::max(place, 0.0)), bins - 1);
      ++counts_[bin];
      sums_[bin] += value;
    }
  }
  States states() const {
    const std::size_t half = counts_.size() / 2;
    std::size_t low = 0, high = counts_.size() - 1;
    for (std::size_t bin = 0; bin < half; ++bin) {
      if (counts_[bin] > counts_[low]) low = bin;
    }
    for (std::size_t bin = counts_.size(); bin-- > half;) {
      if (counts_[bin] > counts_[high]) high = bin;
    }
    if (counts_[low] < fewest_in_state) low = 0;
    if (counts_[high] < fewest_in_state) high = counts_.size() - 1;
    return {.low = mean(low), .high = mean(high)};
  }

 private:
  double mean(std::size_t bin) const { return sums_[bin] / static_cast<double>(counts_[bin]); }

  std::vector<std::size_t> counts_;
  std::vector<double> sums_;
};

/// The waveform turned so that its first state is 0 and its second 1.
std::vector<double> normalised(std::span<const double> volts, double first_state, double second_state) {
  std::vector<double> shape;
  shape.reserve(volts.size());
  for (const double value : volts) shape.push_back((value - first_state) / (second_state - first_state));
  return shape;
}

/// The position between samples i and i + 1 at which the level is met.
double position_between(const std::vector<double>& shape, std::size_t i, double level) {
  return static_cast<double>(i) + (level - shape[i]) / (shape[i + 1] - shape[i]);
}

bool rises_through(const std::vector<double>& shape, std::size_t i, double level) {
  return shape[i] < level && shape[i + 1] >= level;
}

bool falls_through(const std::vector<double>& shape, std::size_t i, double level) {
  return shape[i] >= level && shape[i + 1] < level;
}

/// The first bracket i in [from, size - 1) that `crosses` the level; size if none.
template <class Crosses>
std::size_t first_after(const std::vector<double>& shape, std::size_t from, double level, Crosses crosses) {
  for (std::size_t i = from; i + 1 < shape.size(); ++i) {
    if (crosses(shape, i, level)) return i;
  }
  return shape.size();
}

/// The last such bracket at or before `from`; size if none.
template <class Crosses>
std::size_t last_before(const std::vector<double>& shape, std::size_t from, double level, Crosses crosses) {
  for (std::size_t i = from + 1; i-- > 0;) {
    if (crosses(shape, i, level)) return i;
  }
  return shape.size();
}

/// Reference levels, as shares of the way from the first state to the second.
struct Levels {
  double lower = 0.1, upper = 0.9;
};

/// Instants of one transition, as positions in samples; NaN where there is none.
struct Transition {
  double at_lower = none, at_middle = none, at_upper = none;
  std::size_t middle = 0;  ///< bracket of the 50 % instant; the size if there is none
};

Transition first_transition(const std::vector<double>& shape, const Levels& levels) {
  Transition found;
  found.middle = first_after(shape, 0, 0.5, rises_through);
  if (found.middle == shape.size()) return found;
  found.at_middle = position_between(shape, found.middle, 0.5);
  const std::size_t low = last_before(shape, found.middle, levels.lower, rises_through);
  const std::size_t high = first_after(shape, found.middle, levels.upper, rises_through);
  if (low < shape.size()) found.at_lower = position_between(shape, low, levels.lower);
  if (high < shape.size()) found.at_upper = position_between(shape, high, levels.upper);
  return found;
}

Transition second_transition(const std::vector<double>& shape, std::size_t from, const Levels& levels) {
  Transition found;
  found.middle = first_after(shape, from, 0.5, falls_through);
  if (found.middle == shape.size()) return found;
  found.at_middle = position_between(shape, found.middle, 0.5);
  const std::size_t high = last_before(shape, found.middle, levels.upper, falls_through);
  const std::size_t low = first_after(shape, found.middle, levels.lower, falls_through);
  if (high < shape.size()) found.at_upper = position_between(shape, high, levels.upper);
  if (low < shape.size()) found.at_lower = position_between(shape, low, levels.lower);
  return found;
}

/// The steepest rise between neighbours among the samples of the first transition, per sample.
double steepest(const std::vector<double>& shape, const Transition& transition) {
  const auto first = static_cast<std::size_t>(std::isnan(transition.at_lower) ? 0 : transition.at_lower);
  const auto last =
      std::isnan(transition.at_upper) ? shape.size() - 2 : static_cast<std::size_t>(transition.at_upper);
  double steepest = 0;
  for (std::size_t i = first; i <= last; ++i) steepest = std::max(steepest, shape[i + 1] - shape[i]);
  return steepest;
}

PulseMeasures without_features(double level) {
  return {.low_state_v = level,
          .high_state_v = level,
          .amplitude_v = 0,
          .polarity = 1,
          .instant_lower_s = none,
          .instant_middle_s = none,
          .instant_upper_s = none,
          .transition_duration_s = none,
          .second_transition_duration_s = none,
          .pulse_duration_s = none,
          .overshoot_percent = none,
          .slew_v_per_s = none};
}

}  // namespace

PulseMeasures measure_pulse(std::span<const double> volts, double interval_s,
                            const PulseMeasureOptions& options) {
  if (volts.size() < 2 || !std::all_of(volts.begin(), volts.end(), [](double v) { return std::isfinite(v); }))
    return without_features(none);
  const auto [least, greatest] = std::minmax_element(volts.begin(), volts.end());
  if (!(*greatest > *least)) return without_features(*least);
  const States states =
      options.states_v
          ? States{.low = options.states_v->first, .high = options.states_v->second}
          : Histogram(volts, *least, *greatest, std::max<std::size_t>(options.histogram_bins, 2)).states();
  PulseMeasures measures = without_features(states.low);
  measures.high_state_v = states.high;
  measures.amplitude_v = states.high - states.low;
  if (!(measures.amplitude_v > 0)) return measures;

  const bool starts_low = std::abs(volts[0] - states.low) <= std::abs(volts[0] - states.high);
  measures.polarity = starts_low ? 1 : -1;
  const std::vector<double> shape =
      starts_low ? normalised(volts, states.low, states.high) : normalised(volts, states.high, states.low);
  const Levels levels{.lower = options.lower_percent / 100, .upper = options.upper_percent / 100};
  const Transition first = first_transition(shape, levels);
  if (first.middle == shape.size()) return measures;
  const Transition second = second_transition(shape, first.middle + 1, levels);
  measures.instant_lower_s = first.at_lower * interval_s;
  measures.instant_middle_s = first.at_middle * interval_s;
  measures.instant_upper_s = first.at_upper * interval_s;
  measures.transition_duration_s = (first.at_upper - first.at_lower) * interval_s;
  measures.second_transition_duration_s = (second.at_lower - second.at_upper) * interval_s;
  measures.pulse_duration_s = (second.at_middle - first.at_middle) * interval_s;
  measures.slew_v_per_s = measures.amplitude_v * steepest(shape, first) / interval_s;
  const auto after = shape.begin() + static_cast<std::ptrdiff_t>(first.middle) + 1;
  const auto until = shape.begin() + static_cast<std::ptrdiff_t>(std::min(second.middle + 1, shape.size()));
  measures.overshoot_percent = 100 * (*std::max_element(after, until) - 1);
  return measures;
}

double charge_c(std::span<const double> volts, double interval_s, double load_ohm) {
  if (!(load_ohm > 0)) return none;
  if (volts.size() < 2) return 0;
  double sum = -0.5 * (volts.front() + volts.back());
  for (const double value : volts) sum += value;
  return sum * interval_s / load_ohm;
}

}  // namespace firstedge
