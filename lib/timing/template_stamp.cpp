#include "firstedge/timing/template_stamp.hpp"

#include "firstedge/timing/crossing_weights.hpp"
#include "firstedge/timing/resting_level.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <boost/math/special_functions/gamma.hpp>

namespace firstedge {
namespace {

// A pulse is taken to begin where it is over this share of its height.
constexpr double foot_share = 2e-3;

// From there to the peak, in samples.
double foot_to_peak(const TemplateColumns& columns) {
  const TemplateShape& shape = columns.shape();
  const double foot = shape.leading_crossing_s(foot_share);
  return (shape.peak_s() - (std::isnan(foot) ? shape.first_s() : foot)) / columns.interval_s();
}

}  // namespace

TemplateWeights template_weights(const PulseTemplate& pulse_template, const NoiseModel& noise,
                                 const TemplateFitOptions& options) {
  TemplateColumns columns(pulse_template, noise, options.fit_baseline);
  const TimeBound bound(pulse_template,
                        columns.whitening().known() ? noise : white_noise(1, noise.interval_s));
  const double foot = foot_to_peak(columns);
  const TemplateShape& shape = columns.shape();
  const double slope_per_s = shape.slope_per_s(shape.reference_s());
  const double uncertainty_s = shape.reference_uncertainty_s();
  return {std::move(columns), bound, foot, slope_per_s, uncertainty_s, noise, options};
}

double TemplateStamps::noise_v() const {
  return SampleNoise(weights_.noise, trace_).deviation_v();
}

Stamp TemplateStamps::untimed(const Pulse& pulse, std::size_t begin) const {
  Stamp stamp = untimed(pulse.polarity);
  stamp.height_v = pulse.height_v;
  stamp.charge_c = pulse.charge_c;
  for (const Flag flag : {Flag::clipped, Flag::piled_up, Flag::no_baseline})
    if (pulse.flags.has(flag)) stamp.flags |= flag;
  // A level off its baseline does no harm where one is fitted beneath the pulse; one that moves does.
  const auto is_steady = [&] {
    return level_in_front(trace_, RestingNoise(weights_.noise), pulse, begin).steady;
  };
  if (pulse.flags.has(Flag::unsteady_baseline) && !(columns_.fits_level() && is_steady()))
    stamp.flags |= Flag::unsteady_baseline;
  return stamp;
}

Stamp TemplateStamps::untimed(int polarity) const {
  Stamp stamp;
  stamp.polarity = static_cast<std::int16_t>(polarity);
  stamp.noise_v = noise_v();
  stamp.baseline_v = trace_.baseline_v.value;
  stamp.flags = Flag::not_timed | trace_.flags;
  return stamp;
}

// The variance that the model does not hold, V^2 a sample.
double TemplateStamps::extra_noise_v2() const {
  return std::max(noise_v() * noise_v() - weights_.noise.model().covariance_v2(0), 0.0);
}

double TemplateStamps::expected_goodness(const FittedPulse& fitted) const {
  return 1 + fitted.heights2_v2 * columns_.chi_square_share_of_template() +
         extra_noise_v2() * columns_.chi_square_share_of_extra_noise();
}

double TemplateStamps::probability(const FittedPulse& fitted) const {
  if (!columns_.whitening().known()) return 1;
  const double chi_square = fitted.chi_square / expected_goodness(fitted);
  if (!std::isfinite(chi_square)) return 0;
  // Certain to 1e-6 for the two degrees of freedom that there are at least; near 0 the function overflows.
  if (chi_square < 1e-6) return 1;
  // In double throughout: a probability is only compared with limits.
  using InDouble = boost::math::policies::policy<boost::math::policies::promote_double<false>>;
  return boost::math::gamma_q(0.5 * static_cast<double>(fitted.degrees_of_freedom),
                              0.5 * std::max(chi_square, 0.0), InDouble());
}

bool TemplateStamps::is_poor(const FittedPulse& fitted) const {
  return probability(fitted) < weights_.options.poor_fit_probability;
}

double TemplateStamps::scatter(const FittedPulse& fitted) const {
  return fitted.chi_square / static_cast<double>(fitted.degrees_of_freedom);
}

// Of the samples against the noise that the columns were whitened for.
double TemplateStamps::noise_scale2(const FittedPulse& fitted) const {
  return columns_.whitening().known() ? 1 : scatter(fitted);
}

bool TemplateStamps::is_low(const FittedPulse& fitted) const {
  constexpr double least = TemplateFit::least_significance;
  return fitted.explained < least * least * noise_scale2(fitted);
}

double TemplateStamps::uncertainty_s(const FittedPulse& fitted) const {
  const double height2 = fitted.height_v * fitted.height_v;
  double variance = noise_scale2(fitted) / fitted.information;
  if (columns_.whitening().known())
    variance *= 1 + height2 * fitted.shares.of_template + extra_noise_v2() * fitted.shares.of_extra_noise;
  if (!columns_.fits_level() && trace_.baseline_v.uncertainty > 0)
    variance += std::pow(fitted.shares.level_samples * trace_.baseline_v.uncertainty, 2) / height2;
  return std::hypot(std::sqrt(variance) * trace_.interval_s, weights_.reference_uncertainty_s);
}

double TemplateStamps::bound_s(const FittedPulse& fitted, double deviation_v) const {
  const double at_model = weights_.bound(fitted.height_v);
  if (!columns_.whitening().known()) return at_model * deviation_v;
  return at_model * std::sqrt(1 + extra_noise_v2() * fitted.shares.of_extra_noise);
}

Stamp TemplateStamps::timed(Stamp stamp, const FittedPulse& fitted) const {
  const TemplateShape& shape = columns_.shape();
  stamp.flags = FlagSet::from_bits(stamp.flags.bits() & ~FlagSet(Flag::not_timed).bits());
  if (fitted.clipped) stamp.flags |= Flag::clipped;
  if (is_low(fitted)) stamp.flags |= Flag::low_signal;
  if (is_poor(fitted)) stamp.flags |= Flag::poor_fit;
  if (transition() < TemplateFit::fewest_transition_samples) stamp.flags |= Flag::undersampled;
  stamp.time_s = trace_.time_s(fitted.time_samples);
  stamp.uncertainty_s = uncertainty_s(fitted);
  stamp.bound_s = bound_s(fitted, stamp.noise_v);
  stamp.height_v = fitted.height_v;
  stamp.slew_v_per_s = fitted.height_v * weights_.reference_slope_per_s / shape.peak();
  stamp.transition_duration_s = shape.transition_duration_s();
  stamp.baseline_v = trace_.baseline_v.value + stamp.polarity * fitted.level_v;
  if (columns_.whitening().known()) stamp.goodness = scatter(fitted) / expected_goodness(fitted);
  return stamp;
}

}  // namespace firstedge
