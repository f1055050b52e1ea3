#include "firstedge/delay/reflection.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/delay/padded.hpp"
#include "firstedge/delay/stated.hpp"
#include "firstedge/signal/skin_line.hpp"
#include "firstedge/stats/jackknife.hpp"
#include "firstedge/timing/pulse_search.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

namespace firstedge {
namespace {

[[noreturn]] void refuse(const AverageHead& head, const std::string& problem, const std::string& remedy) {
  throw Error(fmt::format("channel '{}'", head.name), problem, remedy);
}

ConditionedTrace as_conditioned(const MeanTrace& mean) {
  ConditionedTrace trace;
  trace.volts = mean.volts;
  trace.interval_s = mean.interval_s();
  trace.first_sample_s = mean.head.first_sample_s;
  trace.baseline_v = {0, 0};
  return trace;
}

// Where the pulse that goes in starts, and the first sample of the stretch in which echoes are looked for.
struct Incident {
  std::size_t start = 0, cut = 0;
};

Incident incident_of(const MeanTrace& mean, const ReflectionOptions& options) {
  NoiseModel noise = mean.head.noise;
  for (double& value : noise.autocovariance_v2) value /= static_cast<double>(mean.records);
  SearchOptions search;
  search.threshold_over_noise = 12;  // of the mean: far above what is left of the noise
  const std::vector<Pulse> pulses = find_pulses(as_conditioned(mean), noise, 0, search);
  if (pulses.empty()) refuse(mean.head, "shows no pulse", "check the channel and the trigger");
  const SampleRange region = pulses.front().region;
  std::size_t cut = region.last + region.size() / 4;
  if (options.cut_s) {
    const double sample = (*options.cut_s - mean.head.first_sample_s) / mean.interval_s();
    if (!(sample > static_cast<double>(pulses.front().peak) && sample < static_cast<double>(mean.size())))
      refuse(mean.head, "has its cut before the peak of the pulse or behind the record",
             "give a time between the end of the pulse and the first echo");
    cut = static_cast<std::size_t>(std::ceil(sample));
  }
  if (2 * cut > mean.size() + region.first)
    refuse(mean.head, "has a pulse that is not over in the first half of the record",
           "record longer, or take a shorter pulse: a step cannot be used");
  return {region.first, cut};
}

EchoData data_of(const MeanTrace& mean, std::size_t cut) {
  EchoData data{mean, mean, {cut, mean.size()}};
  for (std::size_t i = cut; i < mean.size(); ++i) data.before.volts[i] = 0;
  return data;
}

// How far each echo time stands out of what a fit has left: gain over its standard uncertainty.
struct Candidate {
  double delay_s = 0, gain = 0, significance = 0, share = 0;
};

class EchoSearch {
 public:
  EchoSearch(const EchoData& data, const EchoFit& fit)
      : data_(data), size_(padded_size(4 * data.before.size())), x_(padded_fft(data.before.volts, size_)) {
    std::vector<double> left(data.after.size(), 0.0);
    for (std::size_t i = data.window.first; i < data.window.last; ++i) left[i] = fit.left_v[i];
    left_ = padded_fft(left, size_);
    band_ = signal_band(data.before, size_);
    noise_ = mean_noise_power(data.after, size_);
  }

  // The strongest at a loss, at delays in [low, high) samples, but not next to those known.
  Candidate strongest(double loss_constant, std::size_t low, std::size_t high,
                      const std::vector<double>& known, double apart) const {
    const double loss = loss_constant / std::sqrt(data_.before.interval_s());
    std::vector<std::complex<double>> cross(x_.size());
    double power = 0, variance = 0;
    for (std::size_t k = 0; k < x_.size(); ++k) {
      const double w = 2 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(size_);
      const std::complex<double> model = SkinLine{0, loss}.transfer(w) * x_[k];
      cross[k] = band_[k] * std::conj(model) * left_[k];
      const double twice = (k == 0 || 2 * k == size_ ? 1.0 : 2.0) / static_cast<double>(size_);
      power += twice * band_[k] * std::norm(model);
      variance += twice * band_[k] * band_[k] * std::norm(model) * noise_[k];
    }
    Candidate best;
    const std::vector<double> curve = inverse_fft(std::move(cross), size_);
    for (std::size_t i = low; i < std::min(high, curve.size()); ++i) {
      const auto lag = static_cast<double>(i);
      const bool taken = std::any_of(known.begin(), known.end(),
                                     [&](double other) { return std::abs(other - lag) < apart; });
      if (!taken && std::abs(curve[i]) > std::abs(best.gain) * power)
        best = {lag * data_.before.interval_s(), curve[i] / power, std::abs(curve[i]) / std::sqrt(variance)};
    }
    return best;
  }

 private:
  const EchoData& data_;
  std::size_t size_ = 0;
  std::vector<std::complex<double>> x_, left_;
  std::vector<double> band_, noise_;
};

// Mismatches are added one at a time, as long as one stands out.
class Reflection {
 public:
  Reflection(EchoData data, Incident incident, const ReflectionOptions& options)
      : data_(std::move(data)), incident_(incident), options_(options) {}

  EchoFit fit() {
    EchoModel model = with_end();
    EchoFit fitted = fit_echoes(data_, model, {.fit_loss = has_end()});
    while (fitted.model.echoes.size() < options_.most_mismatches + (has_end() ? 1 : 0)) {
      const Candidate next = candidate(fitted);
      if (!(next.significance > options_.least_significance)) break;
      model = fitted.model;
      model.echoes.push_back({next.delay_s, next.gain, next.share});
      EchoFit wider = refitted(model);
      if (!wider.converged) break;
      fitted = std::move(wider);
    }
    return fitted;
  }

  bool has_end() const { return options_.end != ReflectionOptions::End::matched; }

  /// The fit of the same echoes to other data.
  static EchoFit again(const EchoData& data, const EchoModel& model, bool has_end) {
    return fit_echoes(data, model, {.fit_loss = has_end});
  }

 private:
  EchoModel with_end() const {
    if (!has_end()) return {};
    EchoModel guess = first_guess(data_, options_.end == ReflectionOptions::End::open ? 1 : -1);
    if (!(guess.echoes[0].delay_s > 0) || guess.echoes[0].gain == 0)
      refuse(data_.after.head, "has no echo from its end", "say that the end is matched, or record longer");
    return guess;
  }

  // Shares of the loss go with the delays: once more with those that the fit found.
  EchoFit refitted(EchoModel model) const {
    EchoFit fitted = fit_echoes(data_, model, {.fit_loss = has_end()});
    if (!has_end() || !fitted.converged) return fitted;
    model = fitted.model;
    for (Echo& echo : model.echoes) echo.loss_share = echo.delay_s / model.echoes[0].delay_s;
    return fit_echoes(data_, model, {.fit_loss = true});
  }

  Candidate candidate(const EchoFit& fitted) const {
    const EchoSearch search(data_, fitted);
    const double interval_s = data_.before.interval_s();
    std::vector<double> known;
    for (const Echo& echo : fitted.model.echoes) known.push_back(echo.delay_s / interval_s);
    // An echo nearer to another than the edge of the pulse is the misfit of that one.
    const double apart = std::max(4.0, 0.1 * static_cast<double>(incident_.cut - incident_.start));
    // The first that lies wholly behind the cut, and the last whose edge is still in the record.
    const std::size_t low = incident_.cut - incident_.start;
    const std::size_t high = data_.after.size() - incident_.start;
    if (!has_end()) return search.strongest(0, low, high, known, apart);
    const double end = known.front();
    Candidate best;
    // The loss of an echo is that of its way: looked for in eighths of the line, and once behind its end.
    constexpr std::size_t steps = 8;
    for (std::size_t i = 0; i <= steps; ++i) {
      const double share = i < steps ? (static_cast<double>(i) + 0.5) / steps : 1;
      const auto from = static_cast<std::size_t>(end * static_cast<double>(i) / steps);
      const auto to = i < steps ? static_cast<std::size_t>(end * static_cast<double>(i + 1) / steps) : high;
      Candidate found = search.strongest(share * fitted.model.loss_constant, std::max(low, from),
                                         std::min(high, to), known, apart);
      found.share = found.delay_s / fitted.model.echoes[0].delay_s;
      if (found.significance > best.significance) best = found;
    }
    return best;
  }

  EchoData data_;
  Incident incident_;
  const ReflectionOptions& options_;
};

std::vector<double> figures_of(const EchoFit& fit) {
  std::vector<double> figures{fit.model.loss_constant};
  for (const Echo& echo : fit.model.echoes) {
    figures.push_back(echo.delay_s);
    figures.push_back(echo.gain);
  }
  return figures;
}

Estimate halved(const Estimate& round_trip) {
  return {round_trip.value / 2, round_trip.uncertainty / 2, round_trip.degrees_of_freedom};
}

// What the mismatches before let through, there and back.
void peel(std::vector<Mismatch>& mismatches) {
  double through = 1;
  for (Mismatch& each : mismatches) {
    each.peeled = {each.reflection.value / through, each.reflection.uncertainty / through};
    if (!each.behind_end) through *= std::max(1e-3, 1 - each.peeled.value * each.peeled.value);
  }
}

std::vector<ImpedanceSection> sections_of(const std::vector<Mismatch>& mismatches, double first_ohm,
                                          double end_s) {
  // ln Z grows by ln((1 + r)/(1 - r)); its variance by (2 u/(1 - r^2))^2, mismatches taken as independent.
  double impedance = first_ohm, variance = 0, from_s = 0;
  std::vector<ImpedanceSection> sections;
  for (const Mismatch& each : mismatches) {
    if (each.behind_end || !(std::abs(each.peeled.value) < 1)) continue;
    sections.push_back({from_s, each.delay_s.value, {impedance, impedance * std::sqrt(variance)}});
    const double r = each.peeled.value;
    impedance *= (1 + r) / (1 - r);
    variance += std::pow(2 * each.peeled.uncertainty / (1 - r * r), 2);
    from_s = each.delay_s.value;
  }
  sections.push_back({from_s, std::max(from_s, end_s), {impedance, impedance * std::sqrt(variance)}});
  return sections;
}

}  // namespace

ReflectionDelay reflection_delay(const TraceAverage& average, const ReflectionOptions& options) {
  if (average.records() == 0) refuse(average.head(), "has no records", "record some");
  ReflectionDelay found;
  found.mean = average.mean();
  const Incident incident = incident_of(found.mean, options);
  found.cut_s = found.mean.time_s(static_cast<double>(incident.cut));
  Reflection reflection(data_of(found.mean, incident.cut), incident, options);
  found.fit = reflection.fit();
  const bool has_end = reflection.has_end();
  if (has_end && !found.fit.converged)
    refuse(average.head(), "has no echo that the pulse could have made", "check where the cut is");

  const std::size_t groups = average.groups();
  const std::vector<double> moved = jackknife(groups, [&](std::size_t without) {
    if (groups < fewest_jackknife_groups) return figures_of(found.fit);
    return figures_of(
        Reflection::again(data_of(average.mean_without(without), incident.cut), found.fit.model, has_end));
  });
  const double misfit = found.fit.misfit;
  for (std::size_t i = 0; i < found.fit.model.echoes.size(); ++i) {
    const Estimate delay_s = halved(stated(found.fit.delay_s(i), misfit, moved[1 + 2 * i]));
    const Estimate gain = stated(found.fit.gain(i), misfit, moved[2 + 2 * i]);
    if (has_end && i == 0) {
      found.delay_s = delay_s;
      found.end_reflection = gain;
      found.loss_constant = halved(stated(found.fit.loss_constant(), misfit, moved[0]));
    } else {
      found.mismatches.push_back({delay_s, gain, gain, has_end && delay_s.value > found.delay_s->value});
    }
  }
  std::sort(found.mismatches.begin(), found.mismatches.end(),
            [](const Mismatch& a, const Mismatch& b) { return a.delay_s.value < b.delay_s.value; });
  peel(found.mismatches);
  const double record_end_s =
      0.5 * found.mean.interval_s() * static_cast<double>(found.mean.size() - incident.start);
  found.sections = sections_of(found.mismatches, options.impedance_ohm,
                               found.delay_s ? found.delay_s->value : record_end_s);
  return found;
}

}  // namespace firstedge
