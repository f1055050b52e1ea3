#include "firstedge/timing/template_trace.hpp"

#include "firstedge/signal/lane_sums.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {

bool TemplateTrace::same_interval() const {
  constexpr double same = 1e-5;
  return std::abs(trace_.interval_s - columns_.interval_s()) <= same * columns_.interval_s();
}

double TemplateTrace::reach() const {
  return std::max(4.0, 2 * transition());
}

double TemplateTrace::volts_at(std::size_t sample, int polarity) const {
  double volts = trace_.volts[sample];
  for (const Taken& one : taken_) {
    const double t = (static_cast<double>(sample) - one.time_samples) * columns_.interval_s();
    if (t > columns_.shape().last_s()) continue;
    volts -= one.height_v * columns_.shape().value(t) / columns_.shape().peak();
  }
  return polarity * volts;
}

double TemplateTrace::crossing_before(const Pulse& pulse) const {
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

// The lowest sample of a clipped run, for pulses of this polarity; nothing if it is a run of the other side
// or of samples that are not finite.
std::optional<double> TemplateTrace::limit_of(const SampleRange& clipped, int polarity) const {
  double lowest = INFINITY;
  for (std::size_t i = clipped.first; i < std::min(clipped.last, samples()); ++i)
    if (std::isfinite(trace_.volts[i])) lowest = std::min(lowest, polarity * trace_.volts[i]);
  return lowest > 0 && std::isfinite(lowest) ? std::optional(lowest) : std::nullopt;
}

bool TemplateTrace::leave_out_beside_clipped(const FittedPulse& fitted, int polarity, double noise_v) {
  constexpr double near = 3;
  constexpr double steep = 10;  // here at most one sample is near, and only once in three pulses
  const TemplateShape& shape = columns_.shape();
  const auto first = static_cast<std::size_t>(std::max(fitted.time_samples + support_first(), 0.0));
  const auto last = static_cast<std::size_t>(
      std::clamp(fitted.time_samples + support_last(), 0.0, static_cast<double>(samples())));
  const std::size_t before = beside_clipped_.size();
  for (const SampleRange& clipped : trace_.clipped) {
    if (clipped.last <= first || clipped.first >= last) continue;
    const std::optional<double> limit_v = limit_of(clipped, polarity);
    if (!limit_v) continue;
    const auto is_near = [&](std::size_t i) {
      const double t = (static_cast<double>(i) - fitted.time_samples) * columns_.interval_s();
      const double others_v = polarity * trace_.volts[i] - volts_at(i, polarity);
      const double scale_v = fitted.height_v / shape.peak();
      const double change_v = scale_v * shape.slope_per_s(t) * columns_.interval_s();
      return std::abs(change_v) < steep * noise_v &&
             scale_v * shape.value(t) + fitted.level_v + others_v > *limit_v - near * noise_v;
    };
    SampleRange wide = clipped;
    while (wide.first > first && is_near(wide.first - 1)) --wide.first;
    while (wide.last < last && is_near(wide.last)) ++wide.last;
    if (wide != clipped) beside_clipped_.push_back(wide);
  }
  return beside_clipped_.size() > before;
}

PulsePlace TemplateTrace::place_of(const Pulse& pulse) const {
  const double start = crossing_before(pulse);
  const double before_peak =
      static_cast<double>(pulse.peak) - columns_.shape().peak_s() / columns_.interval_s();
  return {.start = start,
          .first = std::min({static_cast<double>(pulse.region.first), start, before_peak}) - reach(),
          .last = std::max(start, before_peak) + reach()};
}

PulseSamples TemplateTrace::samples_around(int polarity, double first_time, double last_time,
                                           std::size_t end) const {
  return samples_between(polarity, std::floor(first_time + support_first()) - 2,
                         std::ceil(last_time + support_last()) + 2, end);
}

PulseSamples TemplateTrace::samples_in_windows(int polarity, double first_time, double last_time,
                                               std::size_t end) const {
  const auto offset = static_cast<double>(columns_.first_offset());
  return samples_between(polarity, std::round(first_time) + offset,
                         std::round(last_time) + offset + static_cast<double>(columns_.samples()), end);
}

PulseSamples TemplateTrace::samples_between(int polarity, double first, double last, std::size_t end) const {
  const auto size = static_cast<double>(std::min(end, samples()));
  const auto from = static_cast<std::size_t>(std::clamp(first, 0.0, size));
  const auto to = static_cast<std::size_t>(std::clamp(last, 0.0, size));
  PulseSamples taken;
  taken.first = static_cast<std::ptrdiff_t>(from);
  taken.volts.resize(to > from ? to - from : 0);
  taken.left_out.resize(taken.volts.size());
  if (taken_.empty()) {
    for (std::size_t i = 0; i < taken.volts.size(); ++i) taken.volts[i] = polarity * trace_.volts[from + i];
  } else {
    for (std::size_t i = 0; i < taken.volts.size(); ++i) taken.volts[i] = volts_at(from + i, polarity);
  }
  const auto leave_out = [&](std::size_t i) {
    taken.left_out[i] = true;
    taken.any_left_out = true;
    taken.volts[i] = 0;
  };
  for (const auto* ranges : {&trace_.clipped, &beside_clipped_})
    for (const SampleRange& range : *ranges)
      for (std::size_t i = std::max(range.first, from); i < std::min(range.last, to); ++i)
        leave_out(i - from);
  if (all_finite(taken.volts)) return taken;
  for (std::size_t i = 0; i < taken.volts.size(); ++i)
    if (!std::isfinite(taken.volts[i])) leave_out(i);
  return taken;
}

}  // namespace firstedge
