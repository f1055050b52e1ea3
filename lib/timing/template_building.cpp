#include "firstedge/timing/template_building.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/core/threads.hpp"
#include "firstedge/timing/constant_fraction.hpp"
#include "firstedge/timing/crossing_weights.hpp"
#include "firstedge/timing/template_fit.hpp"
#include "firstedge/timing/template_regression.hpp"
#include "firstedge/timing/template_shape.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>
#include <string>
#include <utility>

namespace firstedge {
namespace {

const std::string place = "template building";
constexpr double outlier_deviations = 5;
constexpr double normal_consistency = 1.4826;  // median absolute deviation to standard deviation, Gaussian
// Pulses at one place between two samples meet the shape at one point a sample, so that only smoothness ties
// the points in between together: the shape is not let vary faster than this.
constexpr double highest_cycles_per_sample = 0.6;
constexpr double significance = 4;     // of the shape over its uncertainty, for the support
constexpr double least_share = 2e-3;   // of the height, for the support
constexpr double covered_share = 0.9;  // of the pulses that must have samples in the support
// The stretch looked at on either side, in median lengths of the pulses' regions and in samples.
constexpr double widest_lengths = 4, widest_extra_samples = 64, widest_samples = 65536;

// A pulse that may serve, with its alignment.
struct Candidate {
  std::size_t index = 0;  // in the pulses given
  const ConditionedTrace* trace = nullptr;
  Pulse pulse;
  std::size_t first = 0, last = 0;  // samples of the trace that are free of other pulses
  double time_samples = 0, height_v = 0, level_v = 0;
  double goodness = not_known;
  bool used = false;
};

// From where to where around the reference instants, in samples.
struct Stretch {
  double before = 0, after = 0;
};

void check(const TemplateBuildingOptions& options) {
  if (options.points_per_sample < 1 || options.points_per_sample > 64)
    throw Error(place, "points_per_sample is out of range", "use 1 to 64, such as 8");
  if (options.rounds < 1 || options.rounds > 100)
    throw Error(place, "rounds is out of range", "use 1 to 100, such as 6");
  if (!(options.reference_fraction > 0 && options.reference_fraction < 1))
    throw Error(place, "the reference fraction is not between 0 and 1", "use a fraction such as 0.5");
}

bool can_serve(const PulseInTrace& one, const ChannelNoise& noise, const TemplateBuildingOptions& options) {
  const FlagSet against =
      (one.pulse.flags | one.trace->flags).without(doubts_of_uncertainty | Flag::low_signal);
  const double deviation = SampleNoise(noise, *one.trace).deviation_v();
  return against.empty() && one.pulse.height_v > 0 &&
         one.pulse.height_v >= options.lowest_height_over_noise * deviation;
}

// The side to which the pulses go: the one with the larger sum of heights.
int common_polarity(std::span<const PulseInTrace> pulses) {
  double sum = 0;
  for (const PulseInTrace& one : pulses)
    sum += std::isfinite(one.pulse.height_v) ? one.pulse.polarity * one.pulse.height_v : 0;
  return sum < 0 ? -1 : 1;
}

// The samples of a pulse's trace that no other pulse of the trace disturbs.
SampleRange undisturbed(std::span<const PulseInTrace> pulses, std::size_t index) {
  const PulseInTrace& one = pulses[index];
  SampleRange range{0, one.trace->volts.size()};
  const auto other = [&](std::size_t i) {
    return pulses[i].trace == one.trace && !is_part_of(pulses[i].pulse, one.pulse);
  };
  for (std::size_t i = index; i-- > 0 && pulses[i].trace == one.trace;)
    if (other(i)) range.first = std::max(range.first, pulses[i].pulse.region.last);
  for (std::size_t i = index + 1; i < pulses.size() && pulses[i].trace == one.trace; ++i)
    if (other(i)) range.last = std::min(range.last, pulses[i].pulse.region.first);
  return range;
}

// The least height of the pulses used: a quarter of that around which the weight, the square of the height,
// lies.
double least_height(std::span<const PulseInTrace> pulses, const ChannelNoise& noise,
                    const TemplateBuildingOptions& options) {
  std::vector<double> heights;
  double all = 0;
  for (const PulseInTrace& one : pulses) {
    if (!can_serve(one, noise, options)) continue;
    heights.push_back(one.pulse.height_v);
    all += one.pulse.height_v * one.pulse.height_v;
  }
  std::sort(heights.begin(), heights.end());
  double sum = 0;
  for (const double height : heights) {
    sum += height * height;
    if (sum >= all / 2) return height / 4;
  }
  return 0;
}

// The pulses that may serve, each aligned by its crossing.
std::vector<Candidate> candidates(std::span<const PulseInTrace> pulses, const ChannelNoise& noise,
                                  const TemplateBuildingOptions& options) {
  const int polarity = common_polarity(pulses);
  const double least = least_height(pulses, noise, options);
  const auto looked_at = made_by_all_threads(pulses.size(), [&](std::size_t i) -> std::optional<Candidate> {
    const PulseInTrace& one = pulses[i];
    if (one.pulse.polarity != polarity || one.pulse.height_v < least || !can_serve(one, noise, options))
      return std::nullopt;
    const Stamp stamp =
        constant_fraction(*one.trace, one.pulse, noise, {.fraction = options.reference_fraction});
    if (stamp.flags.has(Flag::not_timed)) return std::nullopt;
    const SampleRange range = undisturbed(pulses, i);
    Candidate made{
        .index = i, .trace = one.trace, .pulse = one.pulse, .first = range.first, .last = range.last};
    made.time_samples = (stamp.time_s - one.trace->first_sample_s) / one.trace->interval_s;
    made.height_v = stamp.height_v;
    made.used = made.time_samples > static_cast<double>(made.first) && made.height_v > 0;
    return made;
  });
  std::vector<Candidate> found;
  for (const std::optional<Candidate>& one : looked_at)
    if (one) found.push_back(*one);
  return found;
}

std::size_t count_used(const std::vector<Candidate>& all) {
  return static_cast<std::size_t>(
      std::count_if(all.begin(), all.end(), [](const Candidate& one) { return one.used; }));
}

double quantile(std::vector<double> values, double share) {
  const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

// What nine tenths of the pulses cover, as far as it can matter.
Stretch covered(const std::vector<Candidate>& all) {
  std::vector<double> before;
  std::vector<double> after;
  std::vector<double> length;
  for (const Candidate& one : all) {
    if (!one.used) continue;
    before.push_back(one.time_samples - static_cast<double>(one.first));
    after.push_back(static_cast<double>(one.last) - 1 - one.time_samples);
    length.push_back(static_cast<double>(one.pulse.region.size()));
  }
  const double widest =
      std::min(widest_lengths * quantile(std::move(length), 0.5) + widest_extra_samples, widest_samples);
  return {std::min(quantile(std::move(before), 1 - covered_share), widest),
          std::min(quantile(std::move(after), 1 - covered_share), widest)};
}

// One regression over all samples of the pulses used; peak 1, time zero at the reference crossing.
PulseTemplate averaged(const std::vector<Candidate>& all, const Stretch& stretch, double interval_s,
                       const TemplateBuildingOptions& options) {
  PulseTemplate made;
  made.reference_fraction = options.reference_fraction;
  made.interval_s = interval_s / options.points_per_sample;
  made.first_s = -std::floor(stretch.before * options.points_per_sample) * made.interval_s;
  const double length = std::floor((stretch.before + stretch.after) * options.points_per_sample);
  if (!(length >= 8)) throw Error(place, "the pulses have no common stretch", "give longer records");
  TemplateRegression regression(made.first_s, made.interval_s, static_cast<std::size_t>(length),
                                highest_cycles_per_sample / interval_s);
  std::vector<double> volts;
  for (const Candidate& one : all) {
    if (!one.used) continue;
    const double from =
        std::max(std::ceil(one.time_samples - stretch.before), static_cast<double>(one.first));
    const double to =
        std::min(std::floor(one.time_samples + stretch.after) + 1, static_cast<double>(one.last));
    if (!(from < to)) continue;
    const auto first = static_cast<std::size_t>(from);
    volts.resize(static_cast<std::size_t>(to) - first);
    const double* samples = one.trace->volts.data() + first;
    const double sign = one.pulse.polarity;
    for (std::size_t i = 0; i < volts.size(); ++i) volts[i] = sign * samples[i] - one.level_v;
    regression.add_pulse((from - one.time_samples) * interval_s, interval_s, one.height_v, volts);
  }
  TemplateRegression::Solution solution = regression.solved();
  made.shape = std::move(solution.value);
  made.shape_uncertainty = std::move(solution.uncertainty);
  made.pulses_used = count_used(all);
  if (!std::all_of(made.shape.begin(), made.shape.end(), [](double value) { return std::isfinite(value); }))
    throw Error(place, "the samples of the pulses do not fix a shape",
                "give more pulses or fewer points a sample");
  const TemplateShape shape(made);
  made.first_s -= shape.reference_s();
  for (double& value : made.shape) value /= shape.peak();
  for (double& value : made.shape_uncertainty) value /= shape.peak();
  return made;
}

// Where a template built over a wide stretch leaves the baseline and is back, see the header.
class Support {
 public:
  Support(const PulseTemplate& wide, int points_per_sample)
      : wide_(wide), points_per_sample_(points_per_sample) {
    const double transition = TemplateShape(wide).transition_duration_s() / wide.interval_s;
    margin_ = std::max(transition, 4.0 * points_per_sample);
    quiet_ = std::max(2 * transition, 8.0 * points_per_sample);
    const double foot = -wide.first_s / wide.interval_s - 2 * transition;
    if (foot >= 1) level_ = quantile({wide.shape.begin(), wide.shape.begin() + std::lround(foot)}, 0.5);
    first_ = end(-1);
    last_ = end(1);
  }

  // With the margins.
  Stretch stretch() const {
    const double zero = -wide_.first_s / wide_.interval_s;
    const double from = std::max(static_cast<double>(first_) - margin_, 0.0);
    const double to =
        std::min(static_cast<double>(last_) + margin_, static_cast<double>(wide_.shape.size() - 1));
    return {(zero - from) / points_per_sample_, (to - zero) / points_per_sample_};
  }

  // The mean level before the pulse, up to a sample before it leaves the baseline.
  double level_before() const {
    const std::ptrdiff_t count = std::max<std::ptrdiff_t>(first_ - points_per_sample_, 0);
    if (count == 0) return level_;
    return std::accumulate(wide_.shape.begin(), wide_.shape.begin() + count, 0.0) /
           static_cast<double>(count);
  }

 private:
  bool leaves(std::ptrdiff_t i) const {
    const auto at = static_cast<std::size_t>(i);
    return std::abs(wide_.shape[at] - level_) >
           std::max(significance * wide_.shape_uncertainty[at], least_share);
  }
  // The last point off the baseline, going from the peak until the shape stays quiet.
  std::ptrdiff_t end(std::ptrdiff_t direction) const {
    const auto size = static_cast<std::ptrdiff_t>(wide_.shape.size());
    const auto peak = std::max_element(wide_.shape.begin(), wide_.shape.end()) - wide_.shape.begin();
    std::ptrdiff_t last = peak;
    for (std::ptrdiff_t i = peak; i >= 0 && i < size; i += direction) {
      if (leaves(i)) last = i;
      if (static_cast<double>(std::abs(i - last)) > quiet_) break;
    }
    return last;
  }

  const PulseTemplate& wide_;
  int points_per_sample_;
  double margin_ = 0, quiet_ = 0, level_ = 0;
  std::ptrdiff_t first_ = 0, last_ = 0;
};

// The template of one alignment: a wide one first, for the support and the level. A level of the shape cannot
// be told from levels of all pulses in proportion to their heights, so it is given to the pulses.
PulseTemplate built(std::vector<Candidate>& all, const Stretch& wide, double interval_s,
                    const TemplateBuildingOptions& options) {
  const PulseTemplate rough = averaged(all, wide, interval_s, options);
  const Support support(rough, options.points_per_sample);
  const double level = support.level_before();
  for (Candidate& one : all) one.level_v += one.height_v * level;
  return averaged(all, support.stretch(), interval_s, options);
}

// The stamps of all pulses, those of one trace together so that the fit can tell them apart.
std::vector<Stamp> stamped(std::span<const PulseInTrace> pulses, const TemplateFit& fit) {
  const std::vector<PulsesOfTrace> traces = by_trace(pulses);
  const auto of_traces = made_by_all_threads(
      traces.size(), [&](std::size_t i) { return fit(*traces[i].trace, traces[i].pulses); });
  std::vector<Stamp> stamps;
  stamps.reserve(pulses.size());
  for (const std::vector<Stamp>& some : of_traces) stamps.insert(stamps.end(), some.begin(), some.end());
  return stamps;
}

// Aligns every candidate with the template; what the fit does not like is not used.
void align(std::vector<Candidate>& all, std::span<const PulseInTrace> pulses, const PulseTemplate& made,
           const NoiseModel& noise) {
  const std::vector<Stamp> stamps = stamped(pulses, TemplateFit(made, noise, {.find_hidden_pulses = false}));
  std::vector<double> goodness;
  for (Candidate& one : all) {
    const Stamp& stamp = stamps[one.index];
    one.used = !stamp.flags.has_any(Flag::not_timed | Flag::clipped | Flag::piled_up);
    if (!one.used) continue;
    one.time_samples = (stamp.time_s - one.trace->first_sample_s) / one.trace->interval_s;
    one.height_v = stamp.height_v;
    one.level_v = stamp.polarity * (stamp.baseline_v - one.trace->baseline_v.value);
    one.goodness = stamp.goodness;
    if (std::isfinite(stamp.goodness)) goodness.push_back(stamp.goodness);
  }
  if (!goodness.empty()) {
    const double middle = quantile(goodness, 0.5);
    for (double& value : goodness) value = std::abs(value - middle);
    const double limit = middle + outlier_deviations * normal_consistency * quantile(goodness, 0.5);
    for (Candidate& one : all) one.used = one.used && !(one.goodness > limit);
  }
}

void require(const std::vector<Candidate>& all, const TemplateBuildingOptions& options) {
  const std::size_t used = count_used(all);
  if (used >= std::max<std::size_t>(options.fewest_pulses, 1)) return;
  throw Error(place,
              "only " + std::to_string(used) + " pulses can serve, and " +
                  std::to_string(options.fewest_pulses) + " are needed",
              "give more records, or pulses that are higher, not clipped and apart from one another");
}

}  // namespace

std::vector<PulsesOfTrace> by_trace(std::span<const PulseInTrace> pulses) {
  std::vector<PulsesOfTrace> traces;
  for (const PulseInTrace& one : pulses) {
    if (traces.empty() || traces.back().trace != one.trace) traces.push_back({one.trace, {}});
    traces.back().pulses.push_back(one.pulse);
  }
  return traces;
}

PulseTemplate build_template(std::span<const PulseInTrace> pulses, const NoiseModel& noise,
                             const TemplateBuildingOptions& options) {
  check(options);
  std::vector<Candidate> all = candidates(pulses, noise, options);
  require(all, options);
  const double interval_s = noise.interval_s;
  const Stretch wide = covered(all);
  PulseTemplate made = built(all, wide, interval_s, options);
  for (int round = 1; round < options.rounds; ++round) {
    align(all, pulses, made, noise);
    require(all, options);
    made = built(all, wide, interval_s, options);
  }
  return made;
}

}  // namespace firstedge
