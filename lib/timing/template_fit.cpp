#include "firstedge/timing/template_fit.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/timing/crossing_weights.hpp"
#include "firstedge/timing/template_pulse.hpp"
#include "firstedge/timing/time_bound.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include <boost/math/special_functions/gamma.hpp>

namespace firstedge {
namespace {

// A record whose interval differs by more than this share is not the channel that the weights were made for;
// over the ten samples around an edge it is 1e-4 of a sample.
constexpr double same_interval = 1e-5;

// A pulse is taken to begin where it is over this share of its height.
constexpr double foot_share = 2e-3;

// From there to the peak, in samples.
double foot_to_peak(const TemplateColumns& columns) {
  const TemplateShape& shape = columns.shape();
  const double foot = shape.leading_crossing_s(foot_share);
  return (shape.peak_s() - (std::isnan(foot) ? shape.first_s() : foot)) / columns.interval_s();
}

// Probability of a chi-square at least this large.
double chi_square_probability(double chi_square, std::size_t degrees_of_freedom) {
  if (!std::isfinite(chi_square)) return 0;
  return boost::math::gamma_q(0.5 * static_cast<double>(degrees_of_freedom), 0.5 * std::max(chi_square, 0.0));
}

}  // namespace

bool is_part_of(const Pulse& lobe, const Pulse& pulse) {
  constexpr double largest_share_other_side = 0.3;
  constexpr double largest_share_same_side = 0.05;
  const double share = lobe.polarity == pulse.polarity ? largest_share_same_side : largest_share_other_side;
  if (!(lobe.height_v < share * pulse.height_v)) return false;
  const std::size_t reach = pulse.region.size();
  return lobe.region.last + reach >= pulse.region.first && lobe.region.first <= pulse.region.last + reach;
}

struct TemplateFit::Weights {
  TemplateColumns columns;
  TimeBound bound;  // in 1 V of white noise when the noise is not known
  double foot_to_peak_samples = 0;
  NoiseModel noise;
  TemplateFitOptions options;
};

// The pulses of one trace, one after the other.
class TemplateFit::TraceFit {
 public:
  TraceFit(const Weights& weights, const ConditionedTrace& trace)
      : weights_(weights), columns_(weights.columns), trace_(trace) {}

  // All that is known of a pulse before its fit.
  Stamp untimed(const Pulse& pulse) const {
    Stamp stamp;
    stamp.polarity = static_cast<std::int16_t>(pulse.polarity);
    stamp.height_v = pulse.height_v;
    stamp.charge_c = pulse.charge_c;
    stamp.noise_v = SampleNoise(weights_.noise, trace_).deviation_v();
    stamp.baseline_v = trace_.baseline_v.value;
    stamp.flags = Flag::not_timed | trace_.flags;
    for (const Flag flag : {Flag::clipped, Flag::piled_up, Flag::no_baseline})
      if (pulse.flags.has(flag)) stamp.flags |= flag;
    return stamp;
  }

  // The first sample that a pulse disturbs; one more is left for the noise on its peak.
  std::size_t foot_of(const Pulse& pulse) const {
    const double foot = static_cast<double>(pulse.peak) - weights_.foot_to_peak_samples - 1;
    return std::min(pulse.region.first, static_cast<std::size_t>(std::max(foot, 0.0)));
  }

  // next_first: foot_of() the pulse that follows, or the length of the trace.
  Stamp timed(const Pulse& pulse, std::size_t next_first) {
    Stamp stamp = untimed(pulse);
    const bool same_grid =
        std::abs(trace_.interval_s - columns_.interval_s()) <= same_interval * columns_.interval_s();
    if (!same_grid || pulse.peak >= trace_.volts.size()) return stamp;
    next_first = std::min(next_first, trace_.volts.size());
    const double start = crossing_before(pulse);
    const double peak_start =
        static_cast<double>(pulse.peak) - columns_.shape().peak_s() / columns_.interval_s();
    const double first = std::min({static_cast<double>(pulse.region.first), start, peak_start}) - reach();
    const double last = std::max(start, peak_start) + reach();
    const PulseSamples samples = samples_around(pulse.polarity, first, last, next_first);
    const std::optional<FittedPulse> fitted = best_fit(samples, start, first, last);
    if (!fitted) return stamp;
    const bool ends_at_pulse = next_first < trace_.volts.size();
    if (fitted->clipped) stamp.flags |= Flag::clipped;
    if (fitted->cut_before || (fitted->cut_after && !ends_at_pulse)) stamp.flags |= Flag::edge_of_record;
    if (fitted->cut_after && ends_at_pulse) stamp.flags |= Flag::piled_up;
    if (reached_by_earlier(fitted->time_samples)) stamp.flags |= Flag::piled_up;
    fill(stamp, *fitted);
    earlier_.push_back({fitted->time_samples, fitted->height_v * pulse.polarity});
    return stamp;
  }

 private:
  struct Earlier {
    double time_samples = 0;
    double signed_height_v = 0;
  };

  double first_support() const { return columns_.shape().first_s() / columns_.interval_s(); }
  double last_support() const { return columns_.shape().last_s() / columns_.interval_s(); }
  double transition() const { return columns_.shape().transition_duration_s() / columns_.interval_s(); }
  double reach() const { return std::max(4.0, 2 * transition()); }

  // As if a pulse were positive going and alone: the earlier ones are taken away.
  double volts_at(std::size_t sample, int polarity) const {
    double volts = trace_.volts[sample];
    for (const Earlier& one : earlier_) {
      const double t = (static_cast<double>(sample) - one.time_samples) * columns_.interval_s();
      if (t > columns_.shape().last_s()) continue;
      volts -= one.signed_height_v * columns_.shape().value(t) / columns_.shape().peak();
    }
    return polarity * volts;
  }

  double crossing_before(const Pulse& pulse) const {
    const double level =
        columns_.shape().reference_fraction() * std::max(volts_at(pulse.peak, pulse.polarity), 0.0);
    const auto lowest = static_cast<double>(pulse.peak) - reach() - static_cast<double>(pulse.region.size());
    double after = volts_at(pulse.peak, pulse.polarity);
    for (std::size_t i = pulse.peak; i > 0 && static_cast<double>(i) > lowest; --i) {
      const double before = volts_at(i - 1, pulse.polarity);
      if (before < level && after >= level)
        return static_cast<double>(i - 1) + (level - before) / (after - before);
      after = before;
    }
    return static_cast<double>(pulse.peak) - columns_.shape().peak_s() / columns_.interval_s();
  }

  // All samples of the windows of times from first to last, up to the next pulse.
  PulseSamples samples_around(int polarity, double first, double last, std::size_t next_first) const {
    const auto size = static_cast<double>(next_first);
    const auto from =
        static_cast<std::size_t>(std::clamp(std::floor(first + first_support()) - 2, 0.0, size));
    const auto to = static_cast<std::size_t>(std::clamp(std::ceil(last + last_support()) + 2, 0.0, size));
    PulseSamples samples;
    samples.first = static_cast<std::ptrdiff_t>(from);
    samples.volts.resize(to > from ? to - from : 0);
    samples.left_out.resize(samples.volts.size());
    for (const SampleRange& range : trace_.clipped)
      for (std::size_t i = std::max(range.first, from); i < std::min(range.last, to); ++i)
        samples.left_out[i - from] = true;
    for (std::size_t i = 0; i < samples.volts.size(); ++i) {
      const double volts = volts_at(from + i, polarity);
      if (!std::isfinite(volts)) samples.left_out[i] = true;
      samples.volts[i] = samples.left_out[i] ? 0 : volts;
    }
    return samples;
  }

  // From the start given, and where that fails or does not convince, from the best whole sample.
  std::optional<FittedPulse> best_fit(const PulseSamples& samples, double start, double first,
                                      double last) const {
    const auto fit_from = [&](double from) {
      std::optional<FittedPulse> fitted = fit_pulse(columns_, samples, from);
      if (fitted && (fitted->time_samples < first || fitted->time_samples > last)) fitted.reset();
      return fitted;
    };
    std::optional<FittedPulse> near = fit_from(start);
    if (near && !is_low(*near) && !is_poor(*near)) return near;
    const std::optional<double> whole = best_whole_sample(columns_, samples, first, last);
    if (!whole) return near;
    std::optional<FittedPulse> best = fit_from(*whole);
    return near && (!best || near->explained >= best->explained) ? near : best;
  }

  // The variance that the model does not hold, V^2 a sample.
  double extra_noise_v2() const {
    const double deviation = SampleNoise(weights_.noise, trace_).deviation_v();
    return std::max(deviation * deviation - weights_.noise.covariance_v2(0), 0.0);
  }
  // What a residual's mean square is expected to be over that of the noise.
  double expected_goodness(const FittedPulse& fitted) const {
    return 1 + fitted.height_v * fitted.height_v * columns_.chi_square_share_of_template() +
           extra_noise_v2() * columns_.chi_square_share_of_extra_noise();
  }
  bool is_poor(const FittedPulse& fitted) const {
    if (!columns_.whitening().known()) return false;
    const double chi_square = fitted.chi_square / expected_goodness(fitted);
    return chi_square_probability(chi_square, fitted.degrees_of_freedom) <
           weights_.options.poor_fit_probability;
  }
  double scatter(const FittedPulse& fitted) const {
    return fitted.chi_square / static_cast<double>(fitted.degrees_of_freedom);
  }
  // Of the samples against the noise that the columns were whitened for.
  double noise_scale2(const FittedPulse& fitted) const {
    return columns_.whitening().known() ? 1 : scatter(fitted);
  }
  bool is_low(const FittedPulse& fitted) const {
    return fitted.explained < least_significance * least_significance * noise_scale2(fitted);
  }

  bool reached_by_earlier(double time_samples) const {
    return std::any_of(earlier_.begin(), earlier_.end(), [&](const Earlier& one) {
      return one.time_samples + last_support() > time_samples + first_support();
    });
  }

  double uncertainty_s(const FittedPulse& fitted) const {
    const double height2 = fitted.height_v * fitted.height_v;
    double variance = noise_scale2(fitted) / fitted.information;
    if (columns_.whitening().known())
      variance *= 1 + height2 * fitted.shares.of_template + extra_noise_v2() * fitted.shares.of_extra_noise;
    if (!columns_.fits_level() && trace_.baseline_v.uncertainty > 0)
      variance += std::pow(fitted.shares.level_samples * trace_.baseline_v.uncertainty, 2) / height2;
    return std::hypot(std::sqrt(variance) * trace_.interval_s, columns_.shape().reference_uncertainty_s());
  }

  double bound_s(const FittedPulse& fitted, double deviation_v) const {
    const double at_model = weights_.bound(fitted.height_v);
    if (!columns_.whitening().known()) return at_model * deviation_v;
    return at_model * std::sqrt(1 + extra_noise_v2() * fitted.shares.of_extra_noise);
  }

  void fill(Stamp& stamp, const FittedPulse& fitted) const {
    const TemplateShape& shape = columns_.shape();
    stamp.flags = FlagSet::from_bits(stamp.flags.bits() & ~FlagSet(Flag::not_timed).bits());
    if (is_low(fitted)) stamp.flags |= Flag::low_signal;
    if (is_poor(fitted)) stamp.flags |= Flag::poor_fit;
    if (transition() < fewest_transition_samples) stamp.flags |= Flag::undersampled;
    stamp.time_s = trace_.time_s(fitted.time_samples);
    stamp.uncertainty_s = uncertainty_s(fitted);
    stamp.bound_s = bound_s(fitted, stamp.noise_v);
    stamp.height_v = fitted.height_v;
    stamp.slew_v_per_s = fitted.height_v * shape.slope_per_s(shape.reference_s()) / shape.peak();
    stamp.transition_duration_s = shape.transition_duration_s();
    stamp.baseline_v = trace_.baseline_v.value + stamp.polarity * fitted.level_v;
    if (columns_.whitening().known()) stamp.goodness = scatter(fitted) / expected_goodness(fitted);
  }

  const Weights& weights_;
  const TemplateColumns& columns_;
  const ConditionedTrace& trace_;
  std::vector<Earlier> earlier_;
};

TemplateFit::TemplateFit(const PulseTemplate& pulse_template, const NoiseModel& noise,
                         const TemplateFitOptions& options) {
  TemplateColumns columns(pulse_template, noise, options.fit_baseline);
  const TimeBound bound(pulse_template,
                        columns.whitening().known() ? noise : white_noise(1, noise.interval_s));
  const double foot = foot_to_peak(columns);
  weights_ = std::make_shared<const Weights>(Weights{std::move(columns), bound, foot, noise, options});
}

TemplateFit::~TemplateFit() = default;
TemplateFit::TemplateFit(TemplateFit&&) noexcept = default;
TemplateFit& TemplateFit::operator=(TemplateFit&&) noexcept = default;

Stamp TemplateFit::operator()(const ConditionedTrace& trace, const Pulse& pulse) const {
  return TraceFit(*weights_, trace).timed(pulse, trace.volts.size());
}

std::vector<Stamp> TemplateFit::operator()(const ConditionedTrace& trace,
                                           std::span<const Pulse> pulses) const {
  TraceFit fit(*weights_, trace);
  std::vector<Stamp> stamps;
  stamps.reserve(pulses.size());
  for (std::size_t i = 0; i < pulses.size(); ++i) {
    const auto has_part = [&](const Pulse& one) { return is_part_of(pulses[i], one); };
    if (std::any_of(pulses.begin(), pulses.end(), has_part)) {
      stamps.push_back(fit.untimed(pulses[i]));
      stamps.back().flags |= Flag::piled_up;
      continue;
    }
    const auto rest = pulses.subspan(i + 1);
    const auto next =
        std::find_if(rest.begin(), rest.end(), [&](const Pulse& one) { return !is_part_of(one, pulses[i]); });
    stamps.push_back(fit.timed(pulses[i], next == rest.end() ? trace.volts.size() : fit.foot_of(*next)));
  }
  return stamps;
}

}  // namespace firstedge
