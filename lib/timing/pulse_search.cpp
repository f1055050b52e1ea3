#include "firstedge/timing/pulse_search.hpp"

#include "firstedge/signal/lane_sums.hpp"
#include "firstedge/signal/pulse_measures.hpp"
#include "firstedge/timing/crossing_weights.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <span>
#include <utility>

namespace firstedge {
namespace {

/// A pulse is over when the trace is back to this share of its height.
constexpr double returned_share = 1e-3;

struct Levels {
  double start_v = 0;   ///< a pulse starts above it
  double change_v = 0;  ///< least dip and least renewed rise between two pulses
  double ringing_share = 0;
};

Levels levels_of(const ConditionedTrace& trace, double deviation_v, const SearchOptions& options) {
  Levels levels{.ringing_share = options.ringing_share};
  levels.start_v = options.threshold_v.value_or(options.threshold_over_noise * deviation_v);
  if (levels.start_v <= 0) {
    double largest_v = 0;
    for (const double v : trace.volts) largest_v = std::max(largest_v, std::isfinite(v) ? std::abs(v) : 0.0);
    levels.start_v = largest_v / 100;
  }
  levels.change_v =
      std::max(levels.start_v, std::numbers::sqrt2 * options.threshold_over_noise * deviation_v);
  return levels;
}

/// Pulses of one polarity, by one pass over the samples.
class Scan {
 public:
  Scan(std::span<const double> volts, int polarity, const Levels& levels)
      : volts_(volts), polarity_(polarity), sign_(polarity), levels_(levels) {}

  std::vector<Pulse> pulses() {
    for (at_ = after_quiet(0); at_ < volts_.size(); at_ = after_quiet(at_ + 1)) step();
    if (state_ == State::up || state_ == State::tail) close(volts_.size());
    return std::move(pulses_);
  }

 private:
  /// fresh: no pulse yet; up: on a pulse, its top not passed; tail: on its way down; settled: it came back.
  enum class State { fresh, up, tail, settled };

  /// The next sample from `at` on that step() has to look at: no pulse opens below the threshold.
  std::size_t after_quiet(std::size_t at) {
    if (state_ != State::fresh && state_ != State::settled) return at;
    const std::size_t next = first_above(volts_, at, polarity_, levels_.start_v);
    if (state_ == State::settled && next < volts_.size()) {
      for (; at < next; ++at)
        if (value(at) < value(valley_)) valley_ = at;
    }
    return next;
  }

  double value(std::size_t sample) const { return sign_ * volts_[sample]; }

  void step() {
    const double v = value(at_);
    switch (state_) {
      case State::fresh:
        if (v > levels_.start_v) open(0);
        break;
      case State::up:
        go_up(v);
        break;
      case State::tail:
        go_down();
        break;
      case State::settled:
        if (rises_again(v, levels_.change_v)) open(pulses_.back().region.last - 1);
        break;
    }
  }

  void go_up(double v) {
    Pulse& pulse = pulses_.back();
    if (v > pulse.height_v) {
      pulse.height_v = v;
      pulse.peak = at_;
    } else if (returned(v)) {
      close(at_ + 1);
      state_ = State::settled;
      valley_ = at_;
    } else if (v <= pulse.height_v - std::max(levels_.change_v, ringing_v())) {
      state_ = State::tail;
      valley_ = at_;
    }
  }

  /// All of a tail, to the sample that ends it.
  void go_down() {
    const double change_v = std::max(levels_.change_v, ringing_v());
    const double returned_v = returned_share * pulses_.back().height_v;
    double lowest_v = value(valley_);
    for (; at_ < volts_.size(); ++at_) {
      const double v = value(at_);
      if (v <= returned_v) {
        close(at_ + 1);
        state_ = State::settled;
        valley_ = at_;
        return;
      }
      if (v < lowest_v) {
        lowest_v = v;
        valley_ = at_;
      }
      if (v > levels_.start_v && v >= lowest_v + change_v) {
        close(valley_ + 1);
        pulses_.back().flags |= Flag::piled_up;
        open(valley_);
        pulses_.back().flags |= Flag::piled_up;
        return;
      }
    }
  }

  double ringing_v() const { return levels_.ringing_share * pulses_.back().height_v; }
  bool returned(double v) const { return v <= returned_share * pulses_.back().height_v; }

  /// Over the threshold, and over the lowest sample since the pulse before by at least change_v: noise on a
  /// slow tail passes the threshold again and again, but does not rise so far.
  bool rises_again(double v, double change_v) {
    if (v < value(valley_)) valley_ = at_;
    return v > levels_.start_v && v >= value(valley_) + change_v;
  }

  /// A new pulse whose leading edge reaches back to `floor` at most.
  void open(std::size_t floor) {
    Pulse pulse;
    pulse.peak = at_;
    pulse.polarity = polarity_;
    pulse.height_v = value(at_);
    pulse.region = {floor, at_ + 1};
    pulses_.push_back(pulse);
    opened_ = at_;
    state_ = State::up;
  }

  /// Only now is the height known that says where the leading edge starts.
  void close(std::size_t last) {
    Pulse& pulse = pulses_.back();
    std::size_t first = opened_;
    while (first > pulse.region.first && !returned(value(first))) --first;
    pulse.region = {first, last};
  }

  std::span<const double> volts_;
  int polarity_;
  double sign_;  ///< the same
  Levels levels_;
  State state_ = State::fresh;
  std::size_t at_ = 0;
  std::size_t opened_ = 0;
  std::size_t valley_ = 0;  ///< the lowest sample since the pulse before
  std::vector<Pulse> pulses_;
};

/// The clipped runs are in order, so the first one that ends inside or after the region decides.
bool overlaps_clipped(const ConditionedTrace& trace, const SampleRange& region) {
  const auto run = std::upper_bound(trace.clipped.begin(), trace.clipped.end(), region.first,
                                    [](std::size_t at, const SampleRange& one) { return at < one.last; });
  return run != trace.clipped.end() && run->first < region.last;
}

/// The mean of the trace after one pulse, summed once however many excursions follow it.
class MeanAfter {
 public:
  MeanAfter(std::span<const double> volts, std::size_t from) : volts_(volts), from_(from), to_(from) {}
  double until(std::size_t to) {
    for (; to_ < to; ++to_) sum_ += std::isfinite(volts_[to_]) ? volts_[to_] : 0.0;
    return to_ > from_ ? sum_ / static_cast<double>(to_ - from_) : 0.0;
  }

 private:
  std::span<const double> volts_;
  std::size_t from_, to_;
  double sum_ = 0;
};

/// The rules of the header on undershoot and ringing, for an excursion after `before`, the last pulse kept.
bool is_aftermath(const Pulse& excursion, const Pulse& before, bool before_clipped, MeanAfter& mean_after,
                  const SearchOptions& options) {
  const std::size_t gap = excursion.region.first - std::min(before.region.last, excursion.region.first);
  const bool directly = gap <= before.region.size();
  if (excursion.polarity == before.polarity) {
    const bool riding = excursion.flags.has(Flag::piled_up);
    return directly && !riding && excursion.height_v < options.ringing_share * before.height_v;
  }
  const double share = before_clipped ? 1.0 : options.undershoot_share;
  if (excursion.height_v >= share * before.height_v) return false;
  if (directly) return true;
  return excursion.polarity * mean_after.until(excursion.region.first) > excursion.height_v / 4;
}

/// `later` taken into `pulse`: pulses closer than the dead time are one.
void merge(Pulse& pulse, const Pulse& later) {
  pulse.region.last = std::max(pulse.region.last, later.region.last);
  if (later.polarity == pulse.polarity && later.height_v > pulse.height_v) {
    pulse.height_v = later.height_v;
    pulse.peak = later.peak;
  }
}

std::vector<Pulse> both_polarities(const ConditionedTrace& trace, const Levels& levels,
                                   SearchOptions::Polarity polarity) {
  std::vector<Pulse> found;
  for (const int sign : {1, -1}) {
    if (sign > 0 && polarity == SearchOptions::Polarity::negative) continue;
    if (sign < 0 && polarity == SearchOptions::Polarity::positive) continue;
    std::vector<Pulse> pulses = Scan(trace.volts, sign, levels).pulses();
    if (found.empty()) {
      found = std::move(pulses);
    } else {
      found.insert(found.end(), pulses.begin(), pulses.end());
    }
  }
  // Those of one polarity are in order.
  if (polarity == SearchOptions::Polarity::either)
    std::stable_sort(found.begin(), found.end(),
                     [](const Pulse& a, const Pulse& b) { return a.region.first < b.region.first; });
  return found;
}

/// Undershoots, ringing and the dead time taken out.
std::vector<Pulse> separate(const std::vector<Pulse>& found, const ConditionedTrace& trace,
                            const SearchOptions& options) {
  const double dead_samples = options.dead_time_s / trace.interval_s;
  std::vector<Pulse> kept;
  MeanAfter mean_after(trace.volts, 0);
  bool clipped = false;
  for (const Pulse& pulse : found) {
    if (!kept.empty()) {
      Pulse& before = kept.back();
      if (is_aftermath(pulse, before, clipped, mean_after, options)) continue;
      if (static_cast<double>(pulse.region.first - before.region.first) < dead_samples) {
        merge(before, pulse);
        continue;
      }
    }
    kept.push_back(pulse);
    clipped = overlaps_clipped(trace, pulse.region);
    mean_after = MeanAfter(trace.volts, pulse.region.last);
  }
  return kept;
}

void finish(Pulse& pulse, const ConditionedTrace& trace, double load_ohm, double deviation_v) {
  const std::span<const double> stretch =
      std::span(trace.volts).subspan(pulse.region.first, pulse.region.size());
  pulse.charge_c = load_ohm > 0 ? pulse.polarity * charge_c(stretch, trace.interval_s, load_ohm)
                                : std::numeric_limits<double>::quiet_NaN();
  if (pulse.region.first == 0 || pulse.region.last >= trace.volts.size()) pulse.flags |= Flag::edge_of_record;
  if (overlaps_clipped(trace, pulse.region)) pulse.flags |= Flag::clipped;
  if (pulse.height_v < lowest_height_over_noise * deviation_v) pulse.flags |= Flag::low_signal;
  if (trace.flags.has(Flag::no_baseline)) pulse.flags |= Flag::no_baseline;
}

}  // namespace

SearchOptions search_options(const Settings& settings) {
  const SearchOptions defaults;
  SearchOptions options;
  const std::string polarity = settings.choice("polarity", "either", {"either", "positive", "negative"});
  if (polarity == "positive") options.polarity = SearchOptions::Polarity::positive;
  if (polarity == "negative") options.polarity = SearchOptions::Polarity::negative;
  options.threshold_v = settings.quantity("threshold", "V");
  if (options.threshold_v && !(*options.threshold_v > 0)) {
    settings.refuse("threshold", "is not above 0",
                    "give the volts over the baseline, positive for either polarity");
  }
  const auto positive = [&](const std::string& name, double fallback) {
    const double value = settings.number(name, fallback);
    if (!(value > 0)) settings.refuse(name, "is not above 0", "give a number above 0");
    return value;
  };
  options.threshold_over_noise = positive("threshold_over_noise", defaults.threshold_over_noise);
  const double most = positive("most_pulses", static_cast<double>(defaults.most_pulses));
  if (most != std::floor(most) || most > 65535)
    settings.refuse("most_pulses", "is not a whole number", "give a whole number from 1 to 65535");
  options.most_pulses = static_cast<std::size_t>(most);
  options.dead_time_s = settings.quantity("dead_time", "s", defaults.dead_time_s);
  if (!(options.dead_time_s >= 0)) settings.refuse("dead_time", "is negative", "give 0 s or more");
  options.window_s = settings.range("window", "s");
  const auto share = [&](const std::string& name, double fallback) {
    const double value = settings.number(name, fallback);
    if (!(value >= 0 && value <= 1))
      settings.refuse(name, "is not a share of the height", "give a number from 0 to 1");
    return value;
  };
  options.undershoot_share = share("undershoot_share", defaults.undershoot_share);
  options.ringing_share = share("ringing_share", defaults.ringing_share);
  settings.finish();
  return options;
}

std::vector<Pulse> PulseSearch::operator()(const ConditionedTrace& trace) const {
  const double deviation_v = SampleNoise(noise_.noise(), trace).deviation_v();
  const Levels levels = levels_of(trace, deviation_v, options_);
  if (!(levels.start_v > 0)) return {};
  std::vector<Pulse> pulses = separate(both_polarities(trace, levels, options_.polarity), trace, options_);
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    finish(pulses[i], trace, load_ohm_, deviation_v);
    const RestingLevel level =
        level_in_front(trace, noise_, pulses[i], i > 0 ? pulses[i - 1].region.last : 0);
    if (!level.at_baseline || !level.steady) pulses[i].flags |= Flag::unsteady_baseline;
  }
  if (options_.window_s) {
    std::erase_if(pulses, [&](const Pulse& pulse) {
      const double start_s = trace.time_s(static_cast<double>(pulse.region.first));
      return !(start_s >= options_.window_s->first && start_s < options_.window_s->second);
    });
  }
  if (pulses.size() > options_.most_pulses) {
    pulses.resize(options_.most_pulses);
    if (!pulses.empty()) pulses.back().flags |= Flag::piled_up;
  }
  return pulses;
}

std::vector<Pulse> find_pulses(const ConditionedTrace& trace, const ChannelNoise& noise, double load_ohm,
                               const SearchOptions& options) {
  return PulseSearch(noise, load_ohm, options)(trace);
}

}  // namespace firstedge
