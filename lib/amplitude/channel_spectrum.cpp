#include "firstedge/amplitude/channel_spectrum.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace firstedge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// The cut of the fit: above the lowest pulse (a search's or a trigger's threshold), below the lowest clipped
// one.
LandauGaussianFitOptions fit_range(const QuantitySpectrum& found, std::optional<double> low,
                                   std::optional<double> high) {
  LandauGaussianFitOptions range;
  if (!found.values.empty()) range.low = *std::min_element(found.values.begin(), found.values.end());
  if (!found.clipped_values.empty())
    range.high = *std::min_element(found.clipped_values.begin(), found.clipped_values.end());
  if (low) range.low = *low;
  if (high) range.high = std::min(range.high, *high);
  // Every pulse is clipped below the lowest that is not: nothing can be fitted, and the outcome says so.
  if (!(range.low < range.high)) range.high = std::nextafter(range.low, std::numeric_limits<double>::max());
  return range;
}

void give_signal_to_noise(QuantitySpectrum& found) {
  const double signal = found.fit.most_probable.value - found.level.value;
  const double ratio = signal / found.noise.value;
  const double u_signal = std::hypot(found.fit.most_probable.uncertainty, found.level.uncertainty) / signal;
  const double u_noise = found.noise.uncertainty / found.noise.value;
  found.signal_to_noise = {ratio, std::abs(ratio) * std::hypot(u_signal, u_noise),
                           found.fit.most_probable.degrees_of_freedom};
}

// Pedestal as measured; where it was not, 0 and the noise given.
void give_pedestal(QuantitySpectrum& found, const std::vector<double>& measured, double noise) {
  found.pedestal = moments(measured);
  if (found.pedestal.count >= 2) {
    found.level = found.pedestal.mean;
    found.noise = found.pedestal.deviation;
  } else {
    found.level = {std::isnan(noise) ? nan : 0.0, 0.0};
    found.noise = {noise, 0.0};
  }
}

void sort_in(QuantitySpectrum& found, double value, bool clipped) {
  if (!std::isfinite(value)) {
    ++found.not_known;
  } else if (clipped) {
    found.clipped_values.push_back(value);
  } else {
    found.values.push_back(value);
  }
}

}  // namespace

ChannelSpectrum channel_spectrum(const AmplitudePulses& pulses, std::size_t channel,
                                 const AmplitudeOptions& options) {
  const PulseColumn& column = pulses.column(channel);
  ChannelSpectrum found{.channel = pulses.channels()[channel],
                        .total = column.size(),
                        .without_pulse = pulses.without_pulse(channel)};
  const FlagSet allowed = options.allowed_flags | doubts_of_uncertainty | Flag::clipped;
  std::vector<double> baselines;
  std::vector<double> noises;
  for (std::size_t i = 0; i < column.size(); ++i) {
    const FlagSet refused = FlagSet::from_bits(column.flags[i].bits() & ~allowed.bits());
    if (!refused.empty()) {
      ++found.flagged;
      for (std::size_t f = 0; f < flag_table.size(); ++f)
        found.by_flag.at(f) += refused.has(flag_table.at(f).flag) ? 1 : 0;
      continue;
    }
    ++found.shown;
    const bool clipped = column.flags[i].has(Flag::clipped);
    found.clipped += clipped ? 1 : 0;
    sort_in(found.height, column.height_v[i], clipped);
    sort_in(found.charge, column.charge_c[i], clipped);
    baselines.push_back(column.baseline_v[i]);
    noises.push_back(column.noise_v[i]);
  }
  found.baseline_v = moments(baselines);
  const auto pedestal = std::find_if(options.pedestals.begin(), options.pedestals.end(),
                                     [&](const Pedestal& each) { return each.channel == found.channel; });
  const bool measured = pedestal != options.pedestals.end();
  give_pedestal(found.height, measured ? pedestal->height_v : std::vector<double>{}, median(noises));
  give_pedestal(found.charge, measured ? pedestal->charge_c : std::vector<double>{}, nan);
  found.height.fit = fit_landau_gaussian(
      found.height.values, fit_range(found.height, options.lowest_height_v, options.highest_height_v));
  found.charge.fit = fit_landau_gaussian(
      found.charge.values, fit_range(found.charge, options.lowest_charge_c, options.highest_charge_c));
  give_signal_to_noise(found.height);
  give_signal_to_noise(found.charge);
  return found;
}

}  // namespace firstedge
